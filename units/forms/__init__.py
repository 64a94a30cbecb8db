"""Forms of the catalogue's side."""
