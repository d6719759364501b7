"""Formulas to and from a file."""
