"""Policies: the lists of guidelines as files a unit may edit, read and checked."""
