"""Drawings: one model, written as SVG, PDF or PNG."""
