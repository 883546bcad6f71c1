"""General-purpose inputs and outputs."""

from busbox.models.gpio.model import Gpio

__all__ = ["Gpio"]
