"""The steps of the CPU, as a traffic file or a Python function gives them."""

from __future__ import annotations

from dataclasses import dataclass, field

from busbox.registers import WORD
from busbox.units import Span

#: Reads after which a poll is given up, if it names no limit.
POLL_LIMIT = 10_000_000
ALL_LANES = 0b1111


@dataclass(frozen=True, slots=True)
class Named:
    """A register by name: it moves with its slot's base."""

    slot: str
    register: str

    def __str__(self) -> str:
        return f"{self.slot}.{self.register}"


#: Where a step goes: an address (it stays, as in firmware) or a name.
Target = int | Named


@dataclass(frozen=True, slots=True)
class Access:
    """One read or write.

    Attributes
    ----------
    write : a write, else a read
    target : byte address, a multiple of 4, or a register's name
    data : word in lane position; of a read: the word that was recorded, None = nothing is compared
    lanes : selected bytes, bit k = SEL(k)
    wait : idle cycles before it
    pc : address of the instruction, if known
    line : line of the traffic file, if there is one
    """

    write: bool
    target: Target
    data: int | None = None
    lanes: int = ALL_LANES
    wait: int = 0
    pc: int | None = None
    line: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Poll:
    """A read that is repeated until ``(data & mask) == value``.

    Attributes
    ----------
    every : idle cycles from the end of one read to the start of the next
    limit : reads after which it is given up
    target, lanes, wait, pc, line : as for an access
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


@dataclass(frozen=True, slots=True)
class Pause:
    """Idle time, in cycles or seconds."""

    span: Span
    line: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Mark:
    """A remark that names a place in the traffic; it takes no time."""

    text: str
    line: int | None = field(default=None, compare=False)


Step = Access | Poll | Pause | Mark
