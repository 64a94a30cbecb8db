"""The Django project and the catalogue: what a reader sees."""
