"""Seasonal figures, climate and cost."""
