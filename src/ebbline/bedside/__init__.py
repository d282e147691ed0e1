"""The examination with the hands: probabilities, sensor sites, checks, reviews due."""
