"""Acids, bases, salts and acid polymers in water: pH, doses, titration curves and the session at the bench."""
