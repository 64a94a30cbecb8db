"""Words of the tester's side in templates."""
