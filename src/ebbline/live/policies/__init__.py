"""The policies of the live pages, as data."""
