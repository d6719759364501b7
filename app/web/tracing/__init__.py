"""Trace: what a code means, where it came from and went, what was sent out, receivers, recalls and cases."""
