"""Where finished goods went, where everything came from, recalls and cases."""
