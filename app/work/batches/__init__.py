"""Batch records: planned, weighed, observed, decided; and the history that is only added to."""
