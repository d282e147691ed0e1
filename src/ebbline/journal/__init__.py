"""The labour record: entries that are only added to, what is made of them, and where they lie."""
