"""Lots and stock: what came in, what left, what expires first, what to buy, and the documents that belong to it."""
