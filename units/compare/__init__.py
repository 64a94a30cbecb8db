"""Everything that reads more than one unit: the catalogue's page, the points of units, their comparison."""
