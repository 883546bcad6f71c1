"""The hardware of a system: the clock, the fabric and the devices in their slots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from busbox.device import Pin
from busbox.map.slots import AddressMap, Slot


@dataclass(frozen=True)
class FabricOptions:
    """The ``[fabric]`` keys of a bench.

    Attributes
    ----------
    unanswered : ``error`` (ERR in s + 1 where no slot decodes) or ``silence``
    watchdog : ERR in s + watchdog for any access unanswered by then, or None
    registered_decode : a register after the decoder; one cycle more for every access
    """

    unanswered: str = "error"
    watchdog: int | None = None
    registered_decode: bool = False


@dataclass(frozen=True)
class Device:
    """A device in its slot.

    Attributes
    ----------
    slot : its place in the address map
    model : the model's class
    kind : the model as the bench names it
    settings : every setting of the model, checked
    pins : its pins with these settings
    found_out : what engines have learned about it, by the clock in hertz
    """

    slot: Slot
    model: Any
    kind: str
    settings: Mapping[str, Any]
    pins: tuple[Pin, ...]
    found_out: dict[int, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def name(self) -> str:
        """Its name in the bench, which is that of its slot."""
        return self.slot.name


@dataclass(frozen=True, kw_only=True)
class SystemHardware:
    """What is on the board.

    Attributes
    ----------
    clock_hz : hertz
    fabric : the fabric's options
    devices : in the order of the bench; the index here is the slot's number
    """

    clock_hz: int
    fabric: FabricOptions
    devices: tuple[Device, ...]

    @cached_property
    def address_map(self) -> AddressMap:
        """The map of all slots."""
        return AddressMap([device.slot for device in self.devices])
