"""Growth over time: days to pins, the decline of flushes, spawn rates, and whether another flush is worth the room."""
