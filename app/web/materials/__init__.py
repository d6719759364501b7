"""Materials: the list with its search, one material, its composition and prices, and the way in and out as a file."""
