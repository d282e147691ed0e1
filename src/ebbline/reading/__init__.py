"""A recording to a Reading: computed, summed up, said in words, saved."""
