"""Signing in, accounts, and the gate before every page."""
