"""Cases, attempts, scores and class reports."""
