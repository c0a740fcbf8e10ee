"""What the spawn rates gave: their levels, the money margin of each step, the best rate."""
