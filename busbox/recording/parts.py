"""The parts of a recording, apart from its accesses and its verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from busbox.basics.errors import format_value
from busbox.recording.accesses import IntColumn


def _same_columns(one: object, other: object, *names: str) -> bool:
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in names)


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

    def __eq__(self, other: object) -> bool:
        """Compare direction and every column, exactly."""
        if not isinstance(other, Line):
            return NotImplemented
        return self.direction == other.direction and _same_columns(
            self, other, "cycles", "levels", "accesses"
        )

    def __repr__(self) -> str:
        edges, last = len(self.cycles) - 1, int(self.levels[-1])
        return (
            f"<Line: {self.direction}, {edges:,} {'edge' if edges == 1 else 'edges'}, level {last} "
            "at the end>"
        )


@dataclass(frozen=True)
class Text:
    """Bytes that left a device: the cycle in which each one's stop bit ended, and its access."""

    cycles: IntColumn
    bytes: IntColumn
    accesses: IntColumn

    def __eq__(self, other: object) -> bool:
        """Compare every column, exactly."""
        if not isinstance(other, Text):
            return NotImplemented
        return _same_columns(self, other, "cycles", "bytes", "accesses")

    def __repr__(self) -> str:
        count = len(self.bytes)
        return f"<Text: {count:,} {'byte' if count == 1 else 'bytes'}, {format_value(self.text)}>"

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
class LineReading:
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
    ran_as : ``model`` or ``hardware``, whatever the bench asked for
    sends : what its device produces: ``text``, ``frames``
    """

    name: str
    model: str
    base: int
    size: int
    wait: int
    delay: int
    ran_as: str
    sends: tuple[str, ...] = ()


@dataclass(frozen=True)
class PollGivenUp:
    """A poll that reached its limit.

    Attributes
    ----------
    access : number of its last read
    mask, value : it waited for (word & mask) == value
    limit : reads
    at_least, since : it waited for ((word - since) & mask) >= value instead; a word, or the name of a
        kept one
    """

    access: int
    mask: int
    value: int
    limit: int
    at_least: bool = False
    since: str = ""


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
class UndefinedSeen:
    """Where undefined bits of hardware show: the run with all of them 1 differs from this one, with 0.

    Attributes
    ----------
    what : ``word`` that was read; ``answer`` to an access: its terminator or its end; ``level`` of a
        pin
    cycle : the first one that shows it
    access : its number; that of the access which caused the edge of a pin, -1 if none did
    slot : the one that was accessed, or whose pin it is; "" for none
    pin : name in the slot, such as ``lamp``; "" for an access
    zeros, ones : word, terminator (number in :data:`busbox.bus.transfers.TERMINATORS`) or level in
        either run
    end : the last cycle of the access in the run with ones, -1 for a pin
    """

    what: str
    cycle: int
    access: int
    slot: str
    pin: str
    zeros: int
    ones: int
    end: int = -1


@dataclass(frozen=True)
class CoreFacts:
    """A core that executed firmware, at the end of the run.

    Attributes
    ----------
    isa : such as ``rv32imc``
    clocks : class of instructions to cycles
    memories : (first address, bytes, whether stores change it) of its own memories
    instructions : how many were executed
    ended : ``running``; ``loop``: a jump to itself, or ``sleep``: wfi, that nothing enabled can end;
        ``ebreak``; ``trap``: one that nothing handles
    pc : of the next instruction, or of the one where it ended
    cycle : the first one of that instruction
    word : the bits of that instruction; -1 if they are in no memory
    cause, value : mcause and mtval of the trap, -1 and 0 otherwise
    handler : mtvec
    finding : whether ``ebreak`` is a finding
    """

    isa: str
    clocks: Mapping[str, int]
    memories: tuple[tuple[int, int, bool], ...]
    instructions: int
    ended: str
    pc: int
    cycle: int
    word: int
    cause: int
    value: int
    handler: int
    finding: bool

    def __post_init__(self) -> None:
        """Make tuples of what JSON has as lists."""
        memories = tuple((base, size, writable) for base, size, writable in self.memories)
        object.__setattr__(self, "memories", memories)


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
