"""What the rules say of a formula: legal limits, allergens, compatibility, claims, label statements. Pure."""
