"""pH, thickening and preservation of a formula, and the session that brings a real batch to its pH."""
