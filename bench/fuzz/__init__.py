"""Readers under odd input: every one ends in an answer or in an error in words, and soon."""
