"""Memory: RAM or ROM of any size."""

from busbox.models.memory.model import Memory

__all__ = ["Memory"]
