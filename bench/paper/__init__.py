"""Strips drawn, printed and photographed by simulation, to be read back."""
