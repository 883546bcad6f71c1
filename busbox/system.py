"""What is built from a bench: everything a run needs, checked and in whole cycles."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from busbox.address_map import AddressMap, Slot
from busbox.device import Pin
from busbox.traffic.source import Source

AFTER_RESET = ("restart", "continue")
UNANSWERED = ("error", "silence")


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
class Placed:
    """A device in its slot.

    Attributes
    ----------
    slot : where it answers
    model : the model's class
    kind : the model as the bench names it
    settings : every setting of the model, checked
    pins : the pins that the settings give
    """

    slot: Slot
    model: Any
    kind: str
    settings: Mapping[str, Any]
    pins: tuple[Pin, ...]


@dataclass(frozen=True)
class InputLevel:
    """A level that the board gives to an input pin from ``cycle`` on."""

    cycle: int
    device: int
    pin: str
    level: int


@dataclass(frozen=True)
class Reset:
    """RST high in the rows ``at`` to ``at + length - 1``."""

    at: int
    length: int


@dataclass(frozen=True)
class System:
    """Everything a run needs.

    Attributes
    ----------
    clock_hz : hertz
    fabric : the fabric's options
    devices : in the order of the bench; a slot's number is its place here
    inputs : in order of cycle
    resets : in order of cycle
    after_reset : ``restart`` or ``continue``
    settle, hang_after : cycles
    new_source : makes a source that begins at the first step
    name, traffic : how messages call the bench and its traffic
    """

    clock_hz: int
    fabric: FabricOptions
    devices: tuple[Placed, ...]
    inputs: tuple[InputLevel, ...]
    resets: tuple[Reset, ...]
    after_reset: str
    settle: int
    hang_after: int
    new_source: Callable[[], Source]
    name: str = "bench"
    traffic: str = ""

    @cached_property
    def address_map(self) -> AddressMap:
        """The map of all slots."""
        return AddressMap([placed.slot for placed in self.devices])
