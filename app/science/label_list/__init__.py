"""Reading a printed ingredient list as people paste or type it."""
