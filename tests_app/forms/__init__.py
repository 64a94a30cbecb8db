"""Forms of the tester's side."""
