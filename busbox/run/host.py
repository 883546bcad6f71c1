"""What a model reports, collected: edges, events, text and wakes of one device in one run."""

from __future__ import annotations

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from busbox.basics.declaring import known
from busbox.basics.errors import ModelError
from busbox.basics.growing import Column
from busbox.device import NO_ACCESS, RELEASED, Pin
from busbox.recording import Event, Line, Text
from busbox.system.hardware import Device

#: Edges of a pin that are put away in one go.
SETTLED = 1 << 14
#: Types of an edge's cycle, level and access.
_KINDS = ("i8", "u1", "i4")


class Track:
    """The history of one pin: only changes of level are kept, in order of cycle.

    Edges that nobody can ask for any more go into columns (see :meth:`settle`); recent ones stay here.
    """

    def __init__(self, pin: Pin) -> None:
        self.pin = pin
        self._cycles: array[int] = array("q", [0])
        self._levels = bytearray([pin.level])
        self._accesses: array[int] = array("q", [NO_ACCESS])
        self._settled = tuple(Column(kind) for kind in _KINDS)

    def put(self, cycle: int, level: int, access: int) -> None:
        """Add a level from ``cycle`` on.

        Raises
        ------
        ModelError : the cycle is before the last edge, or the level is not 0, 1 or released
        """
        if cycle < self._cycles[-1]:
            raise ModelError(
                f"an edge of {self.pin.name} must not be earlier than the last one, "
                f"in cycle {self._cycles[-1]:,}, not {cycle:,}"
            )
        if level not in (0, 1, RELEASED):
            raise ModelError(f"a level of {self.pin.name} must be 0, 1 or released, not {level!r}")
        if cycle == self._cycles[-1]:
            if level != self._levels[-1]:
                self._levels[-1], self._accesses[-1] = level, access
                if len(self._levels) > 1 and self._levels[-2] == level:
                    self._drop()
        elif level != self._levels[-1]:
            self._cycles.append(cycle)
            self._levels.append(level)
            self._accesses.append(access)

    def level(self, cycle: int) -> int:
        """Return the level in ``cycle``."""
        return self._levels[bisect_right(self._cycles, cycle) - 1]

    def next_edge(self, cycle: int) -> int | None:
        """Return the cycle of the next edge after ``cycle`` that has been announced."""
        if self._cycles[-1] <= cycle:  # mostly
            return None
        return self._cycles[bisect_right(self._cycles, cycle)]

    def forget_after(self, cycle: int) -> None:
        """Drop edges announced for later than ``cycle``."""
        while self._cycles[-1] > cycle:
            self._drop()

    def _drop(self) -> None:
        self._cycles.pop()
        self._levels.pop()
        self._accesses.pop()

    def settle(self, cycle: int) -> None:
        """Store edges before ``cycle``, except the last two, which may still change."""
        count = bisect_left(self._cycles, cycle) - 2
        if count < SETTLED:
            return
        parts = (self._cycles, self._levels, self._accesses)
        for column, part in zip(self._settled, parts, strict=True):
            column.extend(part[:count])
            del part[:count]

    def line(self) -> Line:
        """Return the history as columns; for a long one, the recent edges are stored too."""
        parts = (self._cycles, self._levels, self._accesses)
        if not len(self._settled[0]):
            columns = (np.array(part, dtype=kind) for part, kind in zip(parts, _KINDS, strict=True))
            return Line(self.pin.direction, *columns)
        for column, part in zip(self._settled, parts, strict=True):
            column.extend(part)
            del part[:]
        return Line(self.pin.direction, *(column.array() for column in self._settled))


class DeviceHost:
    """The surroundings of one model (see :class:`busbox.device.Host`)."""

    def __init__(
        self,
        device: Device,
        clock_hz: int,
        wake: Callable[[int], None],
        cacheable_until: Callable[[int | None], None] = lambda until: None,
    ) -> None:
        self.name = device.name
        self.base = device.slot.base
        self.size = device.slot.size
        self.clock_hz = clock_hz
        self.wake_at = wake
        self.cacheable_until = cacheable_until
        self._tracks = {pin.name: Track(pin) for pin in device.pins}
        self._events: list[Event] = []
        self._ends: array[int] = array("q")
        self._bytes = bytearray()
        self._senders: array[int] = array("q")

    def edge(self, pin: str, cycle: int, level: int, access: int = NO_ACCESS) -> None:
        """Take an edge of an output pin."""
        track = self._tracks.get(pin)
        if track is None or track.pin.direction != "output":
            outputs = [one for one, of in self._tracks.items() if of.pin.direction == "output"]
            raise ModelError(f"{self.name} has no output pin {pin!r}{known(pin, outputs)}")
        track.put(cycle, level, access)

    def event(self, cycle: int, kind: str, access: int = NO_ACCESS, **details: Any) -> None:
        """Take an event."""
        self._events.append(Event(cycle, self.name, kind, access, details))

    def character(self, cycle: int, byte: int, access: int = NO_ACCESS) -> None:
        """Take a byte of text."""
        self._ends.append(cycle)
        self._bytes.append(byte)
        self._senders.append(access)

    def input(self, pin: str, cycle: int, level: int) -> None:
        """Record a level that the board gives to an input pin."""
        self._tracks[pin].put(cycle, level, NO_ACCESS)

    def is_output(self, pin: str) -> bool:
        """Return whether the device drives the pin."""
        return self._tracks[pin].pin.direction == "output"

    def level(self, pin: str, cycle: int) -> int:
        """Return the level of a pin in ``cycle``."""
        return self._tracks[pin].level(cycle)

    def next_edge(self, pin: str, cycle: int) -> int | None:
        """Return the cycle of the pin's next edge after ``cycle`` that has been announced."""
        return self._tracks[pin].next_edge(cycle)

    def characters_from(self, count: int) -> list[tuple[int, int]]:
        """Return (cycle, byte) of the characters from the one with this number on."""
        return list(zip(self._ends[count:], self._bytes[count:], strict=True))

    def next_text(self, cycle: int) -> int | None:
        """Return the first cycle after ``cycle`` that has one more complete character before it."""
        place = bisect_left(self._ends, cycle)
        return self._ends[place] + 1 if place < len(self._ends) else None

    def settle(self, cycle: int) -> None:
        """Store the edges before ``cycle`` that nobody can ask for any more."""
        for track in self._tracks.values():
            track.settle(cycle)

    def reset(self, cycle: int) -> None:
        """Forget what was announced for after the reset's first cycle; outputs go to reset levels."""
        self.forget_after(cycle)
        for track in self._tracks.values():
            if track.pin.direction == "output":
                track.put(cycle + 1, track.pin.level, NO_ACCESS)

    def forget_after(self, cycle: int) -> None:
        """Drop everything that belongs to a cycle after ``cycle`` (semantics page, rule 25)."""
        for track in self._tracks.values():
            track.forget_after(cycle)
        self._events = [event for event in self._events if event.cycle <= cycle]
        kept = bisect_right(self._ends, cycle)
        del self._ends[kept:], self._bytes[kept:], self._senders[kept:]

    @property
    def events(self) -> list[Event]:
        """The events, as reported."""
        return self._events

    def lines(self) -> Iterator[tuple[str, Line]]:
        """Yield (``slot.pin``, history) of every pin."""
        for name, track in self._tracks.items():
            yield f"{self.name}.{name}", track.line()

    def text(self) -> Text:
        """Return the bytes sent."""
        return Text(
            np.array(self._ends, dtype="i8"),
            np.array(self._bytes, dtype="u1"),
            np.array(self._senders, dtype="i4"),
        )
