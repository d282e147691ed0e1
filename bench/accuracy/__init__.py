"""Accuracy of the detector on invented labours, whose truth is known."""
