"""The reader's pages."""
