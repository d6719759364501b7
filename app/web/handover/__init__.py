"""Import and export formulas."""
