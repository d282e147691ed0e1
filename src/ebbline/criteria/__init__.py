"""Published criteria as data, and the classes they give."""
