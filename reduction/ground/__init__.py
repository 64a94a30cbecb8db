"""What every stage stands on: constants, reference tables, moist air, rounding."""
