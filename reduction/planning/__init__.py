"""A test before it is run."""
