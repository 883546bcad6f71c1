"""The loop that drives an engine, and what stands between it and the devices."""
