"""Strips on paper: pictures with what was read laid over them, corrected, read on."""
