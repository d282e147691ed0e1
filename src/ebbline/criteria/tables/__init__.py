"""The published standards as tables, one file a standard."""
