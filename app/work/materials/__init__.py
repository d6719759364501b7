"""Materials on the shelf: what is in them, what they cost, and how they are found."""
