"""Verbs on what a bench owns."""
