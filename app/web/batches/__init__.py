"""Batches: planned from a version, recorded at the bench, decided once."""
