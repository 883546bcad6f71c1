"""How far the steps of one source have been played: those of the CPU, or of a handler."""

from __future__ import annotations

from busbox.cpu.commands import Result
from busbox.cpu.source import Source
from busbox.cpu.steps import Await, Mark, ResetStep


class Flow:
    """The state of one sequence of steps, apart from the commands that an engine executes.

    Parameters
    ----------
    first : number of the first step; None to continue the numbering of the others

    Attributes
    ----------
    next : a step that is not a command; it begins when all steps before it have ended
    awaiting, last : the pending await, and the last cycle in which it samples its pin
    distance : cycles from the one in which a handler was taken to ``last``
    resetting : the step whose reset comes next, while its wait elapses
    playing : whether the last step that began is a command, whose result the engine has
    result : of the last step, if it was not a command
    over : whether the source has no step left
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
        """Return the number of the step taken now; None to continue the numbering."""
        if self._number is None:
            return None
        self._number += 1
        return self._number - 1

    def begin(self, step: Mark | Await | ResetStep) -> None:
        """Begin the step that was kept."""
        self.next = None
        self.end(None)
        self.awaiting = step if isinstance(step, Await) else None
        self.resetting = step if isinstance(step, ResetStep) else None

    def end(self, result: Result | None) -> None:
        """Take a result that does not come from the engine."""
        self.playing, self.result = False, result

    def end_await(self, result: Result) -> None:
        """End the pending await."""
        self.awaiting = None
        self.end(result)

    def end_reset(self, result: Result | None) -> None:
        """End the pending reset."""
        self.resetting = None
        self.end(result)

    def cut(self, due: bool) -> None:
        """Cut off the present step by a board reset; ``due``: a reset step is due in that cycle."""
        if self.awaiting is not None:
            self.end_await(Result(0, True))
        elif self.resetting is not None and due:
            self.end_reset(Result(0, True))
        elif self.resetting is not None:  # it has not begun
            self.next, self.resetting = self.resetting, None
