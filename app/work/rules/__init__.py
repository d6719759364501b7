"""The rules asked of a formula: findings, the maker's answers, corrections of shipped values, the tables to look at."""
