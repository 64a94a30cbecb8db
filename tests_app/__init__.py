"""Test sessions: what a tester does."""
