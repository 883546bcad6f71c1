"""The steps of the CPU, as a traffic file or a Python function gives them."""

from __future__ import annotations

from dataclasses import dataclass, field

from busbox.basics.units import Span
from busbox.map.registers import WORD

#: Reads after which a poll without a limit is given up.
POLL_LIMIT = 10_000_000
#: Cycles after which an await without a limit is given up.
AWAIT_LIMIT = 10_000_000
NO_LIMIT = Span(cycles=AWAIT_LIMIT)
ALL_LANES = 0b1111


@dataclass(frozen=True, slots=True)
class Named:
    """A register by name: its address follows the slot's base."""

    slot: str
    register: str

    def __str__(self) -> str:
        return f"{self.slot}.{self.register}"


#: The target of a step: an address (fixed, as in firmware) or a name.
Target = int | Named


@dataclass(frozen=True, slots=True)
class AccessStep:
    """One read or write.

    Attributes
    ----------
    write : True for a write, False for a read
    target : byte address, a multiple of 4, or a register's name
    data : word in lane position; for a read, the recorded word, or None: nothing is compared
    lanes : selected bytes, bit k = SEL(k)
    wait : idle cycles before it
    pc : address of the instruction, if known
    line : line of the traffic file, if there is one
    file : the file of ``line`` if it is not the traffic file, such as a driver's library
    keep : for a read, the name under which its word is kept, for an :class:`Until`
    """

    write: bool
    target: Target
    data: int | None = None
    lanes: int = ALL_LANES
    wait: int = 0
    pc: int | None = None
    line: int | None = field(default=None, compare=False)
    file: str | None = field(default=None, compare=False)
    keep: str | None = None


@dataclass(frozen=True, slots=True)
class Poll:
    """A read that is repeated until ``(data & mask) == value``.

    Attributes
    ----------
    every : idle cycles from the end of one read to the start of the next
    limit : reads after which it is given up
    target, lanes, wait, pc, line, file : as for an access
    keep : the name under which the word of its last read is kept
    """

    target: Target
    value: int
    mask: int = WORD
    every: int = 0
    limit: int = POLL_LIMIT
    lanes: int = ALL_LANES
    wait: int = 0
    pc: int | None = None
    line: int | None = field(default=None, compare=False)
    file: str | None = field(default=None, compare=False)
    keep: str | None = None


@dataclass(frozen=True, slots=True)
class Until(Poll):
    """A read that is repeated until ``((data - since) & mask) >= value``: a wait for a counter.

    Attributes
    ----------
    since : what is subtracted, modulo 2**32: a word, or the name of a kept one
    """

    since: int | str = 0


@dataclass(frozen=True, slots=True)
class Pause:
    """Idle time, in cycles or seconds."""

    span: Span
    line: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Mark:
    """A remark that names a point in the traffic; it takes no time."""

    text: str
    line: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Await:
    """Idle time until a pin has a level.

    Attributes
    ----------
    pin : such as ``levers.in.4``; an input or an output
    level : 0 or 1
    limit : time after which it is given up
    """

    pin: str
    level: int
    limit: Span = NO_LIMIT
    line: int | None = field(default=None, compare=False)
    file: str | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class ResetStep:
    """RST high for one cycle, ``wait`` idle cycles after the last step; the next step follows."""

    wait: int = 0
    line: int | None = field(default=None, compare=False)
    file: str | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Handler:
    """Steps that the CPU runs whenever a pin is high, between or inside its other steps.

    It appears among the steps, but is not a step of the sequence: it is active from the start, wherever
    it appears. Of several, the first one has priority.

    Attributes
    ----------
    name : for messages
    pin : the pin that calls it
    enter, leave : idle cycles before its first step and after its last
    steps : the steps that it runs
    """

    name: str
    pin: str
    steps: tuple[Step, ...]
    enter: int = 0
    leave: int = 0
    line: int | None = field(default=None, compare=False)


Step = AccessStep | Poll | Pause | Mark | Await | ResetStep | Handler
