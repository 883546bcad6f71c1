"""A cycle counter with an alarm."""

from busbox.models.timer.model import Timer

__all__ = ["Timer"]
