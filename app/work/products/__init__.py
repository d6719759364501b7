"""Products: what is sold of a formula, where, in which fill and packaging, and for how much."""
