"""Checks of a component (port) and of a model against its twin (twin)."""
