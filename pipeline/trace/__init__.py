"""Trace: from a spawn lot, soak, batch, container or day of picking, upwards and downwards."""
