"""Which column of a person's table is which of ours: names, and the map that states it."""
