"""What is built from a bench: everything a run needs, checked and in whole cycles."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any

from busbox.cpu.source import Source
from busbox.device import Pin
from busbox.map.slots import AddressMap, Slot

if TYPE_CHECKING:
    from busbox.board.attachment import Attachment
    from busbox.findings.expectations import Must

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
class Device:
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
class Wire:
    """A wire from an output pin to an input pin."""

    from_device: int
    from_pin: str
    to_device: int
    to_pin: str


@dataclass(frozen=True)
class Reply:
    """Bytes that come back on a serial line after a text.

    Attributes
    ----------
    device : the one that sends the text, and gets the bytes
    pin : the input pin that gets them
    after : the text, one character a byte
    send : the bytes
    delay : cycles between the end of the text's last stop bit and the first start bit
    rate : bits per second
    """

    device: int
    pin: str
    after: str
    send: bytes
    delay: int
    rate: int


@dataclass(frozen=True)
class Attached:
    """Something that is attached to a pin.

    Attributes
    ----------
    name, kind : as in the bench
    device : number of the slot
    pin : name inside the device
    part : the attachment itself
    """

    name: str
    kind: str
    device: int
    pin: str
    part: Attachment


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
    poll_storm : reads of one register in a row that are too many, or None
    stuck_after : cycles for which an interrupt may stay high without an access to its device, or None
    new_source : makes a source that begins at the first step
    wires, replies : what is connected to pins
    musts : what must hold after the run
    rules : checks of findings that the bench names, besides those of Busbox, by id
    attached : what is attached to pins
    supply : amperes that the supply of all strings of lamps gives, or None if it is not told
    firmware : file of the firmware with its debug information, "" if there is none
    name, traffic : how messages call the bench and its traffic
    """

    clock_hz: int
    fabric: FabricOptions
    devices: tuple[Device, ...]
    inputs: tuple[InputLevel, ...]
    resets: tuple[Reset, ...]
    after_reset: str
    settle: int
    hang_after: int
    new_source: Callable[[], Source]
    name: str = "bench"
    traffic: str = ""
    poll_storm: int | None = None
    stuck_after: int | None = None
    wires: tuple[Wire, ...] = ()
    replies: tuple[Reply, ...] = ()
    musts: tuple[Must, ...] = ()
    rules: Mapping[str, Any] = field(default_factory=dict)
    attached: tuple[Attached, ...] = ()
    supply: Fraction | None = None
    firmware: str = ""

    @cached_property
    def address_map(self) -> AddressMap:
        """The map of all slots."""
        return AddressMap([device.slot for device in self.devices])
