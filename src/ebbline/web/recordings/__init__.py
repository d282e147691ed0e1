"""Recordings in the workbench: opened, kept, listed."""
