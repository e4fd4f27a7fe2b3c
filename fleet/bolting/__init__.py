"""Engineering: formulas and tables, each with its source. Pure functions of numbers in SI-derived units."""
