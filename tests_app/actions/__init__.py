"""Verbs on test sessions."""
