"""A whole bench as one file in open formats, and back."""
