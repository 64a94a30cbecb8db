"""Look at every channel before anything is averaged."""
