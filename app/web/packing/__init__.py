"""Packing runs, samples kept, and finished units."""
