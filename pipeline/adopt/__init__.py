"""Adopting files that a grower has already: what they hold, which farm.toml says so, and the farm made from them."""
