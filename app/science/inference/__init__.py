"""From the order of a printed ingredient list to the percentages it allows and the likely ones.

float64 throughout: the quantities are probabilities and bounds, never weights to put on a scale.
"""
