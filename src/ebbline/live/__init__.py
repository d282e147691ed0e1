"""The labour as it happens: the reading of a growing trace, feeds, notices, a unit of beds."""
