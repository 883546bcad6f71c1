"""What an engine executes natively: accesses, polls and pauses, as whole numbers.

Everything else that a CPU does (marks, awaits, handlers, resets) is played by
:class:`busbox.cpu.player.Player`, above the engine.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from typing import NamedTuple

ACCESS, PAUSE = range(2)


class Command(NamedTuple):
    """A step, ready to be played: whole numbers only.

    Attributes
    ----------
    kind : ``ACCESS`` or ``PAUSE``
    number : the step's number in the ledger
    write, address, data, lanes, wait : for an access
    poll : the read is repeated, using mask, value, every and limit
    cycles : for a pause
    keep : number under which the word read is kept; 0: it is not
    since, less : the kept word and the constant that are subtracted from the word read before the
        comparison; 0: nothing
    at_least : the comparison is >=, not ==
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
    keep: int = 0
    since: int = 0
    less: int = 0
    at_least: int = 0


#: Numbers per command.
COMMAND = len(Command._fields)
#: Words that can be kept; number 0 is always 0.
KEPT = 64


def pause(cycles: int) -> array[int]:
    """Return a pause that belongs to no step."""
    return array("q", Command(PAUSE, -1, cycles=cycles))


@dataclass(frozen=True, slots=True)
class Result:
    """What a step read.

    Attributes
    ----------
    data : the word, 0 after an ERR; for an await, whether the pin had the level
    error : whether it ended with ERR or was cut off by a reset
    """

    data: int
    error: bool


@dataclass(frozen=True)
class Suspended:
    """Commands that an engine has suspended (contract of engines, 6).

    Attributes
    ----------
    commands : as they were fed, :data:`COMMAND` numbers each
    place : index of the first one that has not ended
    under_way : that one has been started; it continues ``distance`` cycles after the engine resumes,
        with ``reads`` reads done
    idle : remaining cycles of a pause
    result : of the last command that has ended
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
