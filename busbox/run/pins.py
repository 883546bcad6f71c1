"""The pins of a run, as its player and the sources of steps ask for them."""

from __future__ import annotations

from busbox.basics.errors import InputError, join_and
from busbox.engines import Engine
from busbox.run.connections import Connections
from busbox.system.system import System


class RunPins:
    """Levels in the cycle that an engine stands before (see :class:`busbox.cpu.player.Pins`)."""

    def __init__(self, system: System, connections: Connections, engine: Engine) -> None:
        self._system, self._connections, self._engine = system, connections, engine
        self._asked: set[str] = set()

    def watch(self, pin: str, line: int | None, file: str | None) -> None:
        """Watch a pin for changes from now on.

        Raises
        ------
        InputError : there is no such pin
        """
        try:
            self._connections.watch(pin)
        except ValueError as error:
            where = self._system.traffic if file is None else file
            raise InputError.of(str(error), where, line) from None

    def level(self, pin: str) -> int:
        """Return the level of a pin."""
        return self._connections.level(pin, self._engine.cycle)

    def ask(self, pin: str) -> int:
        """Return the level of a pin for a source, which decides by it what the CPU does next.

        Raises
        ------
        ValueError : there is no such pin; or its level depends on an access in the same cycle
        """
        if pin not in self._asked:
            self._check(pin)
            self._asked.add(pin)
        return self.level(pin)

    def in_hardware(self, pin: str) -> bool:
        """Return whether a pin is one that hardware drives."""
        number, name = self._connections.place(pin)
        device = self._system.devices[number]
        output = any(one.name == name and one.direction == "output" for one in device.pins)
        return bool(device.model.in_amaranth and output)

    def _check(self, pin: str) -> None:
        number, name = self._connections.place(pin)
        device = self._system.devices[number]
        if not self.in_hardware(pin):
            return
        from busbox.engines.paths import shown_on

        shown = shown_on(device, name, self._system.clock_hz)
        shown = [member for member in shown if not member.startswith("pin_")]
        if shown:
            raise ValueError(
                f"the level of {pin} is not known before the next step: in the hardware it depends on "
                f"{join_and(shown)} in the same cycle"
            )
