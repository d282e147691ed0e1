"""Keys, signs and words of the pages."""
