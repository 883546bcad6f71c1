"""What an engine plays natively: accesses, polls and pauses, as whole numbers.

Everything else that a CPU does (marks, awaits, handlers, resets) is played by
:class:`busbox.cpu.player.Player`, above the engine.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from typing import NamedTuple

ACCESS, PAUSE = range(2)


class Command(NamedTuple):
    """A step that is ready to be played: whole numbers only.

    Attributes
    ----------
    kind : ``ACCESS`` or ``PAUSE``
    number : the ledger's number of the step
    write, address, data, lanes, wait : of an access
    poll : the read is repeated, by mask, value, every and limit
    cycles : of a pause
    """

    kind: int
    number: int
    write: int = 0
    address: int = 0
    data: int = 0
    lanes: int = 0
    wait: int = 0
    poll: int = 0
    mask: int = 0
    value: int = 0
    every: int = 0
    limit: int = 1
    cycles: int = 0


#: Numbers of a command.
COMMAND = len(Command._fields)


def pause(cycles: int) -> array[int]:
    """Return a pause that belongs to no step."""
    return array("q", Command(PAUSE, -1, cycles=cycles))


@dataclass(frozen=True, slots=True)
class Result:
    """What a step read.

    Attributes
    ----------
    data : the word, 0 after an ERR; of an await: whether the pin showed the level
    error : it ended with ERR, or a reset cut it off
    """

    data: int
    error: bool


@dataclass(frozen=True)
class Suspended:
    """Commands that an engine has put aside (contract of engines, 6).

    Attributes
    ----------
    commands : as they were fed, :data:`COMMAND` numbers each
    place : the first of them that is not over
    under_way : it has been taken up, and starts ``distance`` cycles after the one in which the engine
        goes on, with so many ``reads`` behind it
    idle : cycles of a pause that are left
    result : of the last command that is over
    """

    commands: array[int]
    place: int
    under_way: bool
    distance: int
    reads: int
    idle: int
    result: Result | None

    def not_begun(self) -> array[int]:
        """Return the commands that have not begun: a poll has, with its first read."""
        return self.commands[(self.place + (self.reads > 0)) * COMMAND :]
