"""Hand-over: formulas with their products and materials as a file, and in again after a preview."""
