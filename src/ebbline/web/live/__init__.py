"""The labour as it happens: one bed, and a board of all."""
