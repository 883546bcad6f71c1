"""``next_edge`` of every model: never later than the next edge that really comes.

Each model is stepped through the contract with a host of the test's own. After every call a copy of
the model, left alone, is brought forward: no output pin may change in a row strictly between the
present cycle and the first of what ``next_edge`` says and of what was announced before.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest

from busbox.device import Access, LiveDevice
from busbox.models.gpio import Gpio
from busbox.models.pulse_led import PulseLed
from busbox.models.timer import Timer
from busbox.models.uart import Uart

#: Rows that a copy is brought forward: longer than any byte or frame here.
AHEAD = 260
CALLS = 120


class _Host:
    """Pins as (row, level) lists; everything else is taken and dropped."""

    name, base, size, clock_hz = "dev", 0, 0x1000, 16_000_000

    def __init__(self, levels: dict[str, int]) -> None:
        self.first = levels
        self.pins = {pin: [(0, level)] for pin, level in levels.items()}

    def edge(self, pin: str, cycle: int, level: int, access: int = -1) -> None:
        """Take an edge; the last one of a row counts."""
        track = self.pins[pin]
        assert cycle >= track[-1][0]
        if cycle == track[-1][0]:
            track.pop()
        track.append((cycle, level))

    def event(self, cycle: int, kind: str, access: int = -1, **details: Any) -> None:
        """Drop an event."""

    def character(self, cycle: int, byte: int, access: int = -1) -> None:
        """Drop a byte."""

    def stays(self, until: int | None) -> None:
        """Drop what is said of a read."""

    def reset(self, cycle: int) -> None:
        """Forget what is later than ``cycle``."""
        for pin, track in self.pins.items():
            self.pins[pin] = [one for one in track if one[0] <= cycle]
            self.edge(pin, cycle + 1, self.first[pin])

    def changes(self, after: int) -> list[int]:
        """Return the rows after ``after`` in which some pin changes, in order."""
        rows = []
        for track in self.pins.values():
            for (_, before), (row, level) in pairwise(track):
                if row > after and level != before:
                    rows.append(row)
        return sorted(rows)


Act = Callable[[random.Random, int], tuple[int | str, int]]


def _gpio(dice: random.Random, now: int) -> tuple[int | str, int]:
    if dice.random() < 0.5:
        return f"in.{dice.randrange(3)}", dice.randrange(2)
    return dice.choice([0x00, 0x14, 0x18, 0x1C, 0x20]), dice.randrange(8)


def _uart(dice: random.Random, now: int) -> tuple[int | str, int]:
    if dice.random() < 0.6:
        return "rx", dice.randrange(2)
    offset = dice.choice([0x00, 0x00, 0x04, 0x08, 0x0C, 0x0C])
    return offset, dice.randrange(1, 6) if offset == 0x08 else dice.randrange(256)


def _lamps(dice: random.Random, now: int) -> tuple[int | str, int]:
    offset = dice.choice([0x00, 0x00, 0x00, 0x04, 0x08, 0x0C, 0x10, 0x100, 0x104])
    if offset == 0x10:
        return offset, dice.randrange(4) << 16 | dice.randrange(3)
    if offset == 0x0C:
        return offset, dice.randrange(3) << 16 | dice.randrange(3)
    return offset, dice.randrange(4) if offset < 0x100 else dice.randrange(1 << 24)


def _timer(dice: random.Random, now: int) -> tuple[int | str, int]:
    offset = dice.choice([0x08, 0x08, 0x0C, 0x10])
    return offset, now + dice.randrange(20) if offset == 0x08 else dice.randrange(2)


MODELS: dict[str, tuple[type, dict[str, Any], Act]] = {
    "gpio": (Gpio, {"width": 3}, _gpio),
    "uart": (Uart, {"divisor": 2, "baud": None}, _uart),
    "pulse_led": (
        PulseLed,
        {"lamps": 2, "channels": 3, "order": None, "count": 1, "high": 0x10001, "period": 0x20002},
        _lamps,
    ),
    "timer": (Timer, {}, _timer),
}


def _built(name: str) -> tuple[LiveDevice, _Host]:
    model, settings, _ = MODELS[name]
    pins = model.pins_for(settings)  # type: ignore[attr-defined]
    host = _Host({pin.name: pin.level for pin in pins if pin.direction == "output"})
    return model(host, **settings), host


def _surprises(device: LiveDevice, host: _Host, cycle: int) -> list[int]:
    """Return the rows in which a pin changes before anybody would be told."""
    answer = device.next_edge(cycle)
    assert answer is None or answer > cycle
    rows = [row for row in (answer, *host.changes(cycle)[:1]) if row is not None]
    told = min(rows, default=cycle + AHEAD + 1)
    alone, left = copy.deepcopy((device, host))
    alone.advance(cycle + AHEAD)
    # What was announced is not taken back either.
    assert all(left.pins[pin][: len(track)] == track for pin, track in host.pins.items())
    return [row for row in left.changes(cycle) if row < told]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("name", MODELS)
def test_no_pin_moves_before_next_edge(name: str, seed: int) -> None:
    """Random accesses, inputs and resets: whoever asks is told of every edge in its row or before."""
    dice, act = random.Random(f"{name} {seed}"), MODELS[name][2]
    device, host = _built(name)
    cycle = origin = 0
    for number in range(CALLS):
        row = cycle + dice.choice([1, 1, 2, 3, 5, 9, 40])
        # Nobody calls the model in the rows between: the property must hold in any of them.
        for asked in sorted({cycle, cycle + 1, dice.randrange(cycle, row)} - {row}):
            device.advance(asked)
            assert _surprises(device, host, asked) == [], (number, asked)
        cycle = row
        chance = dice.random()
        if chance < 0.02:
            length = dice.randrange(1, 4)
            device.reset(cycle, length)
            host.reset(cycle)
            cycle = origin = cycle + length
            continue
        what, value = act(dice, cycle - origin)
        if isinstance(what, str):
            device.input(cycle, what, value)
        else:
            write = dice.random() < 0.8
            device.access(Access(cycle, what, write, value if write else 0, 0b1111, number))
        assert _surprises(device, host, cycle) == [], (number, cycle)
    assert len(host.changes(0)) > 10  # the traffic did move pins


@pytest.mark.parametrize(
    ("name", "calls", "cycle", "answer"),
    [
        ("gpio", [(3, 0x18, 1), (10, "in.0", 1)], 10, 13),  # EVENTS at c + 3
        ("gpio", [(3, 0x18, 1), (10, "in.0", 1)], 12, 13),
        ("gpio", [], 5, None),
        ("timer", [(3, 0x0C, 1), (6, 0x08, 20)], 6, 21),  # RANG in the row after the match
        ("timer", [(3, 0x0C, 1), (6, 0x08, 20)], 20, 21),
        ("timer", [], 5, None),
        ("uart", [(6, 0x00, 0)], 6, 8),  # from idle the line falls in e + 2
        ("uart", [(6, 0x00, 0), (9, 0x00, 0)], 9, 28),  # the second byte, 8 + 20
        ("uart", [], 5, None),
        ("pulse_led", [(6, 0x00, 1)], 6, 7),  # the first bit is in e + 1
        ("pulse_led", [(4, 0x08, 2), (6, 0x00, 1)], 8, 7 + 48),  # the second lamp: bits of 2 rows
        ("pulse_led", [(6, 0x00, 3)], 8, 7 + 48 + 2),  # the next frame, behind a gap of 2
        ("pulse_led", [], 5, None),
    ],
)
def test_next_edge_names_the_row(
    name: str, calls: list[tuple[int, int | str, int]], cycle: int, answer: int | None
) -> None:
    """After these calls the model names exactly the row in which something happens by itself."""
    device, _ = _built(name)
    for number, (row, what, value) in enumerate(calls):
        if isinstance(what, str):
            device.input(row, what, value)
        else:
            device.access(Access(row, what, True, value, 0b1111, number))
    device.advance(cycle)
    assert device.next_edge(cycle) == answer
