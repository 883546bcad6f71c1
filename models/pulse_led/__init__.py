"""A sender for strings of lamps with a single-wire, pulse-coded line.

``declaration``: its registers, pins and settings; ``model``: the sender in Python; ``hardware``: the
same in Amaranth.
"""

from busbox.models.pulse_led.declaration import PulseLedRegisters
from busbox.models.pulse_led.model import PulseLed, PulseSender, PulseTiming

__all__ = ["PulseLed", "PulseLedRegisters", "PulseSender", "PulseTiming"]
