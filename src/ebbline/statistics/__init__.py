"""Agreement and intervals, for teaching and archives alike."""
