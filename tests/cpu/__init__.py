"""The CPU: sources of steps, drivers in Python, handlers that they name."""
