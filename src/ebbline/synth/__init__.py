"""Virtual labours whose truth is known."""
