"""The strip and its reading: findings, marks, corrections."""
