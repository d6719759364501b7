"""Labels of products, small labels of the bench, and the sheets they are printed on."""
