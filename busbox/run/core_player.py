"""What a core that executes firmware does in a run, in the place of a player of steps."""

from __future__ import annotations

from array import array
from typing import TYPE_CHECKING

from busbox.basics.errors import InputError
from busbox.cpu.player import NEVER
from busbox.cpu.source import Routine
from busbox.cpu.steps import Await
from busbox.engines import Engine
from busbox.run.pins import RunPins

if TYPE_CHECKING:
    from busbox.core.core import Core
    from busbox.core.setup import CoreSetup


class _NoSteps:
    """What the loop asks of a source."""

    count: int | None = None


class CorePlayer:
    """A core in a run: its interrupt lines, its sleep and its end.

    ``hardware_lines``: an interrupt line comes from hardware. The other attributes and methods are
    those of :class:`busbox.cpu.player.Player` that the loop of a run uses; a core has no marks,
    awaits or handlers.
    """

    handling = False
    reset_is_due = False
    looks_until: int | None = None
    handler_storm: tuple[int, Routine] | None = None

    def __init__(self, engine: Engine, pins: RunPins, setup: CoreSetup) -> None:
        assert engine.core is not None
        self._engine, self._pins, self._lines = engine, pins, setup.lines
        self.core: Core = engine.core
        self.source = _NoSteps()
        self.marks: list[tuple[int, str]] = []
        self.given_up: list[tuple[int, Await]] = []
        self.none_left_from: int | None = None
        self._levels = 0
        for pin in setup.lines:
            self._pins.watch(pin, None, None)
        self.hardware_lines = any(map(pins.in_hardware, setup.lines))

    @property
    def waits(self) -> bool:
        """Whether the engine is to run on without a command."""
        return self.none_left_from is not None

    @property
    def wakeable(self) -> bool:
        """Whether it sleeps, and a line can wake it."""
        return self.none_left_from is not None and not self.core.ended

    @property
    def stops(self) -> bool:
        """Whether the run ends where the program has, whatever the devices do."""
        ended = self.none_left_from is not None and self.core.ended
        return ended and self.core.setup.on_end == "stop"

    def begin(self) -> None:
        """Do nothing: the engine asks the core."""

    def sense(self) -> None:
        """Take the levels of the interrupt lines in the present cycle."""
        levels = 0
        for pin, bit in self._lines.items():
            levels |= (self._pins.ask(pin) == 1) << bit
        if levels == self._levels:
            return
        self._levels = levels
        self._engine.line(levels)
        if not self.core.ended:
            self.none_left_from = None

    def go_on(self) -> None:
        """The core sleeps, or has stopped, from the present cycle on."""
        self.none_left_from = self._engine.cycle

    def look(self) -> None:
        """Do nothing: there are no awaits."""

    def call_handler(self) -> int:
        """Return that no handler of steps will ever be taken."""
        return NEVER

    def storm_ends(self) -> bool:
        """Return False: there are no handlers of steps."""
        return False

    def reset_by_board(self, length: int, restart: bool) -> None:
        """Drive RST high; the core begins at its start."""
        if not restart:
            raise InputError.of("after_reset must be 'restart' for a core, which a reset restarts")
        _: array[int] = self._engine.reset(length)
        self.none_left_from = None

    def reset_by_step(self) -> None:
        """Never called: there are no steps."""

    def close(self) -> None:
        """Do nothing: there is nothing to release."""
