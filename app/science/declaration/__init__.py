"""The ingredient declaration of a label, EU and US: names, order, groups, and why each entry stands where it stands."""
