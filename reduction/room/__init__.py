"""The room as a store and a leak of heat, and how both are found."""
