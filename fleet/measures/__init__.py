"""Numbers with units, instants, days and item tags. This floor knows nobody but the refusals."""
