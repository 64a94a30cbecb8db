"""What a balance means: point, limit, cross-checks, rating condition, shortfall, verdict."""
