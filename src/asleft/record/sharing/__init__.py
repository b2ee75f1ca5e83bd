"""A store that several laptops share: kept here first, delivered once, one person at a machine."""
