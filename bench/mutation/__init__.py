"""A mutation run: small faults are put into the code, and the tests must notice each."""
