"""How well invented labours can be told from real ones, by machine and by eye."""
