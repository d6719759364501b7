"""The rules: checks of a formula with their answers, the tables of rules, values from memory put right."""
