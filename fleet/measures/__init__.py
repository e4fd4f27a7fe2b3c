"""Numbers with units, instants and days. This floor knows nobody."""
