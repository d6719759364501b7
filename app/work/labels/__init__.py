"""Labels: the sheets they are printed on, what stands on them, and what keeps them from being printed for sale."""
