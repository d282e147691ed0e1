"""From usable signal to findings."""
