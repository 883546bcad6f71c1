"""How far the steps of one source have been played: the CPU's own, or those of a handler."""

from __future__ import annotations

from busbox.cpu.commands import Result
from busbox.cpu.source import Source
from busbox.cpu.steps import Await, Mark, ResetStep


class Flow:
    """The state of one sequence of steps, apart from the commands that an engine plays.

    Parameters
    ----------
    first : number of the first step, if they do not count on with the others

    Attributes
    ----------
    next : a step that is no command; it begins when all before it are over
    awaiting, last : the await that stands, and the last cycle in which it looks at its pin
    distance : cycles from the one in which a handler was taken to ``last``
    resetting : the step whose reset comes next: its wait is being idled away
    playing : the last step that began is a command: its result is the engine's
    result : of the last step, if it was no command
    over : the source has no step left
    """

    def __init__(self, source: Source, first: int | None = None) -> None:
        self.source = source
        self._number = first
        self.next: Mark | Await | ResetStep | None = None
        self.awaiting: Await | None = None
        self.last = self.distance = 0
        self.resetting: ResetStep | None = None
        self.playing = self.over = False
        self.result: Result | None = None

    def number(self) -> int | None:
        """Return the number of a step that is taken now; None if it counts on."""
        if self._number is None:
            return None
        self._number += 1
        return self._number - 1

    def begin(self, step: Mark | Await | ResetStep) -> None:
        """Have the step begin that was kept."""
        self.next = None
        self.end(None)
        self.awaiting = step if isinstance(step, Await) else None
        self.resetting = step if isinstance(step, ResetStep) else None

    def end(self, result: Result | None) -> None:
        """Take a result that is not the engine's."""
        self.playing, self.result = False, result

    def end_await(self, result: Result) -> None:
        """Have no await stand."""
        self.awaiting = None
        self.end(result)

    def end_reset(self, result: Result | None) -> None:
        """Have no reset come."""
        self.resetting = None
        self.end(result)

    def cut(self, due: bool) -> None:
        """Be cut off by a reset of the board; ``due``: a step wanted one in the same cycle."""
        if self.awaiting is not None:
            self.end_await(Result(0, True))
        elif self.resetting is not None and due:
            self.end_reset(Result(0, True))
        elif self.resetting is not None:  # it has not begun
            self.next, self.resetting = self.resetting, None
