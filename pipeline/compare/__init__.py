"""Comparing levels of a recipe or container: what the records support, with the soak as the unit of replication."""
