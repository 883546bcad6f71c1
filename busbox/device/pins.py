"""The pins of a device."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

#: The level of an output pin that its device does not drive.
RELEASED: Final = 2


@dataclass(frozen=True)
class Pin:
    """A named line of a device.

    Attributes
    ----------
    name : inside the device: ``line``, ``out.3``
    direction : ``output`` (the device drives it) or ``input``
    level : an output's level in cycle 0 and after a reset; an input's level while nothing drives it
    text : one sentence
    released : the device can stop driving it (an output only)
    carries : what of its device's ``sends`` goes out by this pin, ``frames`` or ``text``; "" for none
    """

    name: str
    direction: str = "output"
    level: int = 0
    text: str = ""
    released: bool = False
    carries: str = ""
