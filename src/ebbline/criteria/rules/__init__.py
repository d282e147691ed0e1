"""How each standard's table is applied to a window, one file a standard."""
