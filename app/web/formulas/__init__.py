"""Formulas: the list, the page of one formula, its versions, and rows pasted into it."""
