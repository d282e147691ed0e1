"""From raw samples to usable signal, and how good it is."""
