"""A class without accounts: joined by a code, at one strip or with a case for each."""
