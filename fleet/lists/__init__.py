"""Questions: rows in, frozen lines out."""
