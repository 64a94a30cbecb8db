"""Propagation by the GUM and by Monte Carlo, and the mean of samples that remember."""
