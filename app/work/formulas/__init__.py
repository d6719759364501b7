"""Formulas: the draft as typed, what follows from it, and the versions kept for good."""
