"""What happens in a run: traffic, inputs, resets, connections, attachments, expectations."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Protocol

from busbox.core.setup import CoreSetup
from busbox.cpu.source import Source


@dataclass(frozen=True)
class InputLevel:
    """A level that the board drives on an input pin from ``cycle`` on."""

    cycle: int
    device: int
    pin: str
    level: int


@dataclass(frozen=True)
class BoardReset:
    """A reset by the board: RST is high in the cycles ``at`` to ``at + length - 1``."""

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
    device : the one that sends the text and receives the bytes
    pin : the input pin that receives them
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


class AttachedPart(Protocol):
    """What a system knows about an attachment; see :mod:`busbox.board.attachment`."""

    @property
    def sends(self) -> tuple[str, ...]:
        """What it provides to expectations: ``text``, ``frames``."""

    @property
    def options(self) -> Mapping[str, Any]:
        """Every setting, checked."""


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
    part: AttachedPart


@dataclass(frozen=True)
class Harmless:
    """Reads whose word does not steer the firmware, by the word of the bench.

    Attributes
    ----------
    slot, register : names
    pc : the address of the instruction that reads; None for every read of the register
    """

    slot: str
    register: str
    pc: int | None = None


#: What an expectation needs that counts findings.
FINDINGS = "(findings)"


class Condition(Protocol):
    """What a system knows about an expectation; see :mod:`busbox.findings.expectations`."""

    @property
    def what(self) -> str:
        """The expectation, as text."""

    @property
    def needs(self) -> str:
        """The attachment that it asks, or :data:`FINDINGS`; "" if it asks the bus and the pins."""

    @property
    def register(self) -> tuple[str, str] | None:
        """The slot and the register whose word at the end it needs, or None."""

    def judge(self, recording: Any) -> Any:
        """Return the verdict on a recording."""


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """What happens in a run.

    Attributes
    ----------
    new_source : makes a source that begins at the first step
    core : what executes firmware in the place of steps, or None
    traffic : name of the traffic in messages
    harmless : reads of recorded traffic that may give another word
    traffic_notes : what a reader of the run should know of the traffic, one sentence each
    inputs : in order of cycle
    resets : in order of cycle
    after_reset : ``restart`` or ``continue``
    settle, hang_after : cycles
    poll_storm : consecutive reads of one register that count as too many, or None
    stuck_after : cycles for which an interrupt may stay high without an access to its device, or None
    spin_after : cycles for which executed firmware may read one register without a change
    wires, replies : what is connected to pins
    rules : rules that the bench adds to the built-in ones, by id
    attached : what is attached to pins
    supply : amperes that the supply of all lamp strings provides, or None if not given
    firmware : file of the firmware with its debug information, "" if there is none
    expectations : what must hold after the run
    """

    new_source: Callable[[], Source]
    core: CoreSetup | None = None
    traffic: str = ""
    harmless: tuple[Harmless, ...] = ()
    traffic_notes: tuple[str, ...] = ()
    inputs: tuple[InputLevel, ...]
    resets: tuple[BoardReset, ...]
    after_reset: str
    settle: int
    hang_after: int
    poll_storm: int | None = None
    stuck_after: int | None = None
    spin_after: int = 1_600_000
    wires: tuple[Wire, ...] = ()
    replies: tuple[Reply, ...] = ()
    rules: Mapping[str, Any] = field(default_factory=dict)
    attached: tuple[Attached, ...] = ()
    supply: Fraction | None = None
    firmware: str = ""
    expectations: tuple[Condition, ...] = ()
