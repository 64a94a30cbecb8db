"""The tester's pages."""
