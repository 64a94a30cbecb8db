"""The proof that counts: over many replica sessions the 95 % interval holds the true capacity in 95 % of cases."""
