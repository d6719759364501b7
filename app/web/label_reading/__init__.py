"""Pages from a printed ingredient list to a formula."""
