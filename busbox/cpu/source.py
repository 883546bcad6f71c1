"""Where the steps of the CPU come from.

A source is anything with ``next(moment) -> Step | None``. It is asked in cycle F of the semantics page,
the first one that the next step may use, after inputs, wires and replies of that cycle have been
applied; before the first step it is asked in cycle 0, for F = 1. So its steps may depend on the cycle,
on pins and on what its last step read; a source that executes firmware gives a ``pc`` with each access,
and its interrupt handlers as routines.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from busbox.cpu.commands import Result
from busbox.cpu.steps import Step


@dataclass(frozen=True, slots=True)
class Moment:
    """What a source may know when it is asked for a step.

    Attributes
    ----------
    cycle : F, the first cycle that the step may use
    result : what the last step read; None before the first step, and after one that reads nothing
    level : returns the level of a pin such as ``levers.in.4`` in that cycle, before the step begins: 0
        or 1, 2 for a released output; None in cycle 0, in which F lies ahead. It may be called until
        ``next`` returns. It raises ValueError if there is no such pin, or if the pin depends on an
        access in the same cycle.
    """

    cycle: int
    result: Result | None
    level: Callable[[str], int | None]


@dataclass(frozen=True)
class Routine:
    """What the CPU runs whenever a pin is high (semantics page, rule 12c).

    Attributes
    ----------
    name : for messages
    pin : the pin that calls it
    enter, leave : idle cycles before its first step and after its last
    start : returns a new source of its steps each time it is taken
    first : number of its first step in the recording; None to continue the numbering of the others
    line, file : where it was defined, as for a step
    """

    name: str
    pin: str
    enter: int
    leave: int
    start: Callable[[], Source]
    first: int | None = None
    line: int | None = None
    file: str | None = None


class Source(Protocol):
    """Whatever yields steps."""

    #: Whether it ignores moments, so that many steps may be taken at once.
    ahead: bool

    @property
    def count(self) -> int | None:
        """Number of steps, None if unknown before the end."""

    @property
    def handlers(self) -> Sequence[Routine]:
        """Routines that pins call; it may grow whenever ``next`` is called."""

    def next(self, moment: Moment) -> Step | None:
        """Return the next step, or None when there is none left."""

    def again(self) -> Source:
        """Return a source that begins at the first step."""

    def close(self) -> None:
        """Release resources; ``next`` is not called again."""
