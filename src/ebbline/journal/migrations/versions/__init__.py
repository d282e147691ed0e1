"""One step for each change of form, the first first."""
