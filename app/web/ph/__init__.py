"""pH of a formula: the section under it, the page with comparisons, and the bench session of a batch."""
