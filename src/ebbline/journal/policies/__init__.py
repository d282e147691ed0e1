"""The record's tables: what the chart of progress shows, and how the heart is listened to."""
