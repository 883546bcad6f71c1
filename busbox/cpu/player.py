"""The player: the CPU of a run, independent of the engine. It implements rules 10 to 18 of the page.

An engine executes accesses, polls and pauses natively (rules 10 to 12), as many as are fed; when it has
none left, in cycle F, the player continues with whatever is not a transfer: a mark, an await, a reset,
the end of a handler; or it asks the source. It never runs an engine: the loop of the run does, and
calls the player in each cycle in which something may happen.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable
from typing import Protocol

from busbox.cpu.commands import COMMAND, Command, Result, Suspended, pause
from busbox.cpu.flow import Flow
from busbox.cpu.listed import ListedSource
from busbox.cpu.source import Moment, Routine, Source
from busbox.cpu.steps import AccessStep, Await, Handler, Mark, Pause, Poll, ResetStep, Step
from busbox.cpu.table import AccessTable

#: Steps taken from a source at once, if it does not depend on the state of the run.
AHEAD = 4096
#: Later than any cycle.
NEVER = 1 << 62
#: Steps that an engine executes.
_COMMANDS = (AccessStep, Poll, Pause)


class Status(Protocol):
    """What an engine reports on its commands (contract of engines, 3)."""

    @property
    def idle(self) -> bool:
        """Whether the bus is idle in the next cycle to run, and RST is low."""

    @property
    def result(self) -> Result | None:
        """The result of the last command that has ended."""


class Channel(Protocol):
    """The part of an engine that a player uses (contract: :mod:`busbox.engines`)."""

    @property
    def cycle(self) -> int:
        """The first cycle that has not been run."""

    @property
    def status(self) -> Status:
        """The state of the commands."""

    def feed(self, commands: array[int]) -> None:
        """Append commands."""

    def suspend(self) -> Suspended:
        """Suspend all commands."""

    def resume(self, suspended: Suspended) -> None:
        """Resume suspended commands."""

    def reset(self, length: int) -> array[int]:
        """Drive RST high; return the commands that had not begun."""


class Book(Protocol):
    """Where steps are numbered, and become commands."""

    def command(self, step: AccessStep | Poll | Pause, number: int | None) -> Command:
        """Return the command of a step; ``number``: its number, None to continue the numbering."""

    def commands(self, table: AccessTable) -> array[int]:
        """Return the commands of many steps."""

    def pass_over(self) -> None:
        """Count a step that is not a command."""

    def cycles(self, step: Await) -> int:
        """Return the limit of an await."""

    def restart(self) -> None:
        """Restart the numbering."""


class Pins(Protocol):
    """The pins of the system."""

    def watch(self, pin: str, line: int | None, file: str | None) -> None:
        """Watch a pin for changes from now on; refuse an unknown pin."""

    def level(self, pin: str) -> int:
        """Return the level of a pin in the present cycle."""

    def ask(self, pin: str) -> int:
        """Return it for a source whose next step depends on it."""


class Player:
    """The CPU of one run.

    Attributes
    ----------
    none_left_from : the first cycle from which no step is left, or None
    reset_is_due : whether a step drives RST high in the present cycle
    marks : (cycle, text)
    given_up : (last cycle, await) for every await that reached its limit
    handler_storm : (cycle in which the first was taken, routine) if handlers ran back to back
    """

    def __init__(
        self,
        new_source: Callable[[], Source],
        channel: Channel,
        book: Book,
        pins: Pins,
        hang_after: int,
    ) -> None:
        self._channel, self._book, self._pins = channel, book, pins
        self._hang_after = hang_after
        self.source = new_source()
        self.none_left_from: int | None = None
        self.reset_is_due = False
        self.marks: list[tuple[int, str]] = []
        self.given_up: list[tuple[int, Await]] = []
        self.handler_storm: tuple[int, Routine] | None = None
        self._main = self._flow = Flow(self.source)
        self._put_aside: tuple[Routine, Suspended] | None = None
        self._routines: list[Routine] = []
        self._open, self._back, self._storm_since = 1, 0, 0
        self._find_routines()

    wakeable = stops = hardware_lines = False  # see CorePlayer
    # What the loop asks in a cycle.

    def sense(self) -> None:
        """Do nothing: pins are looked at where a step or a handler asks."""

    @property
    def waits(self) -> bool:
        """Whether the engine is to run on without a command."""
        standing = self.reset_is_due or self._flow.awaiting is not None
        return standing or (self.none_left_from is not None and not self.handling)

    @property
    def handling(self) -> bool:
        """Whether a handler is running."""
        return self._put_aside is not None

    def begin(self) -> None:
        """Take the first steps, in cycle 0: traffic without any has none left in it (rule 19)."""
        if not self._take(Moment(1, None, _not_yet)):
            self.none_left_from = 0

    def go_on(self) -> None:
        """Play what comes next, in the first cycle for the next step."""
        flow = self._flow
        if flow.resetting is not None:
            self.reset_is_due = True
        elif flow.next is not None:
            self._begin_step(flow.next)
        elif not self._take(Moment(self._channel.cycle, self._result(), self._level)):
            if self._put_aside is not None:
                self._leave_handler(self._put_aside[1])
            else:
                self.none_left_from = self._channel.cycle

    def look(self) -> None:
        """End a pending await, if its pin has the level or its time is up (rule 12a)."""
        flow, cycle = self._flow, self._channel.cycle
        step = flow.awaiting
        if step is None:
            return
        matched = self._pins.level(step.pin) == step.level
        if not matched and cycle < flow.last:
            return
        if not matched:
            self.given_up.append((cycle, step))
        flow.end_await(Result(int(matched), False))
        self._channel.feed(pause(1))
        self._open = cycle + 1

    @property
    def looks_until(self) -> int | None:
        """The last cycle in which the pending await samples its pin, or None."""
        return None if self._flow.awaiting is None else self._flow.last

    # Handlers (rules 12c and 12e).

    def call_handler(self) -> int:
        """Take a handler whose pin is high; return the cycle from which one may be taken."""
        if self.handling:
            return NEVER
        routine = self._called()
        if routine is None:
            return NEVER
        if self._interruptible:
            self._enter_handler(routine)
            return NEVER
        return self._open

    def storm_ends(self) -> bool:
        """Return whether the run ends here because handlers run back to back (rule 12e)."""
        cycle = self._channel.cycle
        if self._back != cycle or self.handling or cycle - self._storm_since < self._hang_after:
            return False
        routine = self._called() if self._interruptible else None
        if routine is not None:
            self.handler_storm = self._storm_since, routine
        return routine is not None

    @property
    def _interruptible(self) -> bool:
        return self._channel.cycle >= self._open and self._channel.status.idle

    def _called(self) -> Routine | None:
        """Return the first routine whose pin is high."""
        for routine in self._routines:
            if self._pins.level(routine.pin) == 1:
                return routine
        return None

    def _enter_handler(self, routine: Routine) -> None:
        cycle = self._channel.cycle
        if self._back != cycle:
            self._storm_since = cycle
        self._main.distance = self._main.last - cycle
        self._put_aside = routine, self._channel.suspend()
        self._flow = Flow(routine.start(), routine.first)
        self._channel.feed(pause(1 + routine.enter))
        if self._flow.source.ahead:
            self._take(Moment(cycle + 1 + routine.enter, None, _not_yet))

    def _leave_handler(self, suspended: Suspended) -> None:
        """Resume what the handler interrupted."""
        cycle = self._channel.cycle
        self._abandon_handler()
        self._channel.resume(suspended)
        self._main.last = cycle + self._main.distance
        self._open = self._back = cycle
        if self.none_left_from is not None:
            self.none_left_from = max(self.none_left_from, cycle)

    def _abandon_handler(self) -> None:
        self._flow.source.close()
        self._flow, self._put_aside = self._main, None

    def _find_routines(self) -> None:
        """Watch the pins of routines that are new."""
        for routine in self.source.handlers[len(self._routines) :]:
            self._routines.append(routine)
            self._pins.watch(routine.pin, routine.line, routine.file)

    # Resets (rules 12b, 12d and 14 to 18).

    def reset_by_step(self) -> None:
        """Drive RST high for the step that is due; nothing is cut off."""
        self._channel.reset(1)
        self._flow.end_reset(None)
        self.reset_is_due = False
        self._reset_ends(1)

    def reset_by_board(self, length: int, restart: bool) -> None:
        """Drive RST high; the present step is cut off, and a handler with it."""
        rest = self._channel.reset(length)
        if self._put_aside is not None:
            suspended = self._put_aside[1]
            self._abandon_handler()
            rest = suspended.not_begun()
            if not rest:
                self._main.end(suspended.result)
            self.reset_is_due = False
        if restart:
            self._restart()
        else:
            self._main.cut(self.reset_is_due)
            self._channel.feed(rest)
        self.reset_is_due = False
        self._reset_ends(length)

    def _reset_ends(self, length: int) -> None:
        self._open = self._channel.cycle + length + 1
        if self.none_left_from is not None:
            self.none_left_from = self._open

    def _restart(self) -> None:
        self.source.close()
        self.source = self.source.again()
        self._main = self._flow = Flow(self.source)
        self._book.restart()
        self.none_left_from = None
        self._routines = []
        self._find_routines()

    def close(self) -> None:
        """Discard what has not been played."""
        self._flow.source.close()
        self.source.close()

    # Steps.

    def _take(self, moment: Moment) -> bool:
        """Take steps from the source; return False if there is none left."""
        flow, commands = self._flow, array("q")
        most = (AHEAD if flow.source.ahead else 1) * COMMAND
        while len(commands) < most and flow.next is None and not flow.over:
            piece = _piece(flow.source, moment)
            if piece is None:
                flow.over = True
                if self._put_aside is not None:
                    commands.extend(pause(self._put_aside[0].leave))
            elif isinstance(piece, AccessTable):
                commands.extend(self._book.commands(piece))
            elif isinstance(piece, _COMMANDS):
                commands.extend(self._book.command(piece, flow.number()))
            else:
                self._keep(flow, piece)
        self._find_routines()
        if commands:
            flow.playing = True
            self._channel.feed(commands)
        return bool(commands) or flow.next is not None

    def _keep(self, flow: Flow, step: Mark | Await | ResetStep | Handler) -> None:
        """Keep a step until all steps before it have ended."""
        if isinstance(step, Handler):
            raise AssertionError("a handler is not a step of the sequence")
        if isinstance(step, Await):
            self._pins.watch(step.pin, step.line, step.file)
        if flow.number() is None:
            self._book.pass_over()
        flow.next = step

    def _begin_step(self, step: Mark | Await | ResetStep) -> None:
        flow, cycle = self._flow, self._channel.cycle
        flow.begin(step)
        if isinstance(step, Mark):
            self.marks.append((cycle, step.text))
        elif isinstance(step, Await):
            flow.last = cycle + self._book.cycles(step) - 1
        elif step.wait:
            self._channel.feed(pause(step.wait))
        else:
            self.reset_is_due = True

    # What a source may know.

    def _result(self) -> Result | None:
        flow = self._flow
        return self._channel.status.result if flow.playing else flow.result

    def _level(self, pin: str) -> int | None:
        return self._pins.ask(pin)


def _piece(source: Source, moment: Moment) -> Step | AccessTable | None:
    """Return the next step of a source, or many at once."""
    return source.take() if isinstance(source, ListedSource) else source.next(moment)


def _not_yet(pin: str) -> int | None:
    """Return None: the cycle lies ahead."""
    return None
