"""Starting a workshop of one's own, and what becomes of the demonstration."""
