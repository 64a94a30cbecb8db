"""Which spans of time are steady enough to be averaged."""
