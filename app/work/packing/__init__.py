"""Packing of a batch: runs, fill weights, samples kept, and the finished units on hand."""
