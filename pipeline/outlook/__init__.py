"""The outlook: kg per week ahead, borrowed from the farm's own past batches, and how well that has held so far."""
