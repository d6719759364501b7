"""The bench: the first page, and help."""
