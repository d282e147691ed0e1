"""The labour record in the browser: entries, chart of progress, listening, reviews, handover."""
