"""Products of a formula, the price list, and exchange rates."""
