"""The parts of a recording, apart from its accesses and its verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from busbox.recording.accesses import IntColumn


@dataclass(frozen=True)
class Event:
    """Something a device reported.

    Attributes
    ----------
    cycle : when it happened
    device : the slot's name
    kind : what happened, e.g. ``frame`` or ``byte-lost``
    access : number of the access that caused it, -1 if none did
    details : e.g. ``colours`` of a frame
    """

    cycle: int
    device: str
    kind: str
    access: int
    details: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Frame:
    """A frame that a device intended to send: cycle of its first bit, access, colours RRGGBB."""

    cycle: int
    access: int
    colours: tuple[int, ...]


@dataclass(frozen=True)
class Line:
    """A pin's history: from ``cycles[i]`` on its level is ``levels[i]``; the first is cycle 0.

    A level of 2 means that the device has released the pin.
    ``accesses[i]`` is the access that caused the edge, -1 if none did.
    """

    direction: str
    cycles: IntColumn
    levels: IntColumn
    accesses: IntColumn


@dataclass(frozen=True)
class Text:
    """Bytes that left a device: the cycle in which each one's stop bit ended, and its access."""

    cycles: IntColumn
    bytes: IntColumn
    accesses: IntColumn

    @property
    def text(self) -> str:
        """The bytes as text, one character a byte (Latin-1)."""
        return bytes(self.bytes.astype("u1")).decode("latin-1")


@dataclass(frozen=True)
class Character:
    """A character on a line: cycle of its start edge, the access that caused that, its value."""

    cycle: int
    access: int
    value: int


@dataclass(frozen=True)
class Decoding:
    """What an attachment decoded from its line.

    Attributes
    ----------
    kind : as in the bench
    pin : such as ``lamps.line``
    rows : (label, text), for people
    facts : the same for programs
    text : what it read, or None
    characters : see :class:`Character`
    frames : the frames that the lamps show, each with the access that caused its first edge, or None
    """

    kind: str
    pin: str
    rows: tuple[tuple[str, str], ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    text: str | None = None
    characters: tuple[Character, ...] = ()
    frames: tuple[Frame, ...] | None = None


@dataclass(frozen=True)
class SlotInfo:
    """A slot as the recording knows it.

    Attributes
    ----------
    name, model, base, size, wait : as in the bench
    delay : cycles from the start of an access until the device sees it
    sends : what its device produces: ``text``, ``frames``
    """

    name: str
    model: str
    base: int
    size: int
    wait: int
    delay: int
    sends: tuple[str, ...] = ()


@dataclass(frozen=True)
class PollGivenUp:
    """A poll that reached its limit.

    Attributes
    ----------
    access : number of its last read
    mask, value : it waited for (word & mask) == value
    limit : reads
    """

    access: int
    mask: int
    value: int
    limit: int


@dataclass(frozen=True)
class AwaitGivenUp:
    """An await that reached its limit.

    Attributes
    ----------
    cycle : the last one in which the pin was sampled
    pin, level : it waited for this level of this pin
    limit : as text, such as ``5 ms`` or ``64 cycles``
    line : line of the traffic file, or of another, -1 if there is none
    file : the file of ``line``, "" for the traffic's own
    """

    cycle: int
    pin: str
    level: int
    limit: str
    line: int = -1
    file: str = ""


@dataclass(frozen=True)
class HandlerStorm:
    """Handlers that ran back to back until the run was ended (semantics page, rule 12e).

    Attributes
    ----------
    since : cycle in which the first of them was taken
    handler : name of the one that would have been taken next
    pin : the pin that called it
    line : its line in the traffic file, -1 if there is none
    """

    since: int
    handler: str
    pin: str
    line: int = -1


@dataclass(frozen=True)
class PortBreach:
    """A rule of the bus that a port broke.

    Attributes
    ----------
    port : name of the slot, or ``cpu``
    cycle : when
    rule : the rule's number in the standard
    text : what was seen, what the rule demands, and the signals of that cycle
    """

    port: str
    cycle: int
    rule: str
    text: str


@dataclass(frozen=True)
class StopPoint:
    """Where and why a run was stopped early.

    Attributes
    ----------
    cycle : the last one
    access : number of the access, -1 if there is none
    word : what was asked for: a rule, an address or a register
    text : what happened
    """

    cycle: int
    access: int
    word: str
    text: str
