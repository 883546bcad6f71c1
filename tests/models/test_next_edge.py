"""``next_edge`` of every model: never later than the next edge that really comes.

Each model is stepped through the contract with a host of the test's own. After every call a copy of
the model, left alone, is brought forward: no output pin may change in a cycle strictly between the
present cycle and the first of what ``next_edge`` says and of what was announced before.
"""

from __future__ import annotations

import copy
import random
from itertools import pairwise
from typing import Any

import pytest

from busbox.device import BusAccess, LiveDevice
from tests.models.drawing import Stepped
from tests.models.folders import attributes

#: Cycles that a copy is brought forward: longer than any byte or frame here.
AHEAD = 260
CALLS = 120


class _Host:
    """Pins as (cycle, level) lists; everything else is taken and dropped."""

    name, base, size, clock_hz = "dev", 0, 0x1000, 16_000_000

    def __init__(self, levels: dict[str, int]) -> None:
        self.first = levels
        self.pins = {pin: [(0, level)] for pin, level in levels.items()}

    def edge(self, pin: str, cycle: int, level: int, access: int = -1) -> None:
        """Take an edge; the last one of a cycle counts."""
        track = self.pins[pin]
        assert cycle >= track[-1][0]
        if cycle == track[-1][0]:
            track.pop()
        track.append((cycle, level))

    def event(self, cycle: int, kind: str, access: int = -1, **details: Any) -> None:
        """Drop an event."""

    def character(self, cycle: int, byte: int, access: int = -1) -> None:
        """Drop a byte."""

    def cacheable_until(self, until: int | None) -> None:
        """Drop what is said of a read."""

    def reset(self, cycle: int) -> None:
        """Forget what is later than ``cycle``."""
        for pin, track in self.pins.items():
            self.pins[pin] = [one for one in track if one[0] <= cycle]
            self.edge(pin, cycle + 1, self.first[pin])

    def changes(self, after: int) -> list[int]:
        """Return the cycles after ``after`` in which some pin changes, in order."""
        cycles = []
        for track in self.pins.values():
            for (_, before), (cycle, level) in pairwise(track):
                if cycle > after and level != before:
                    cycles.append(cycle)
        return sorted(cycles)


#: What is stepped, by the name of its folder.
STEPPED: dict[str, Stepped] = attributes("drawn", "STEPPED")


def _built(name: str) -> tuple[LiveDevice, _Host]:
    model, settings = STEPPED[name].model, STEPPED[name].settings
    pins = model.pins_for(settings)  # type: ignore[attr-defined]
    host = _Host({pin.name: pin.level for pin in pins if pin.direction == "output"})
    return model(host, **settings), host


def _surprises(device: LiveDevice, host: _Host, cycle: int) -> list[int]:
    """Return the cycles in which a pin changes before anybody would be told."""
    answer = device.next_edge(cycle)
    assert answer is None or answer > cycle
    cycles = [change for change in (answer, *host.changes(cycle)[:1]) if change is not None]
    told = min(cycles, default=cycle + AHEAD + 1)
    alone, left = copy.deepcopy((device, host))
    alone.advance(cycle + AHEAD)
    # What was announced is not taken back either.
    assert all(left.pins[pin][: len(track)] == track for pin, track in host.pins.items())
    return [change for change in left.changes(cycle) if change < told]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("name", STEPPED)
def test_no_pin_moves_before_next_edge(name: str, seed: int) -> None:
    """Random accesses, inputs and resets: whoever asks is told of every edge in its row or before."""
    dice, act = random.Random(f"{name} {seed}"), STEPPED[name].act
    device, host = _built(name)
    cycle = origin = 0
    for number in range(CALLS):
        following = cycle + dice.choice([1, 1, 2, 3, 5, 9, 40])
        # Nobody calls the model in the cycles between: the property must hold in any of them.
        for asked in sorted({cycle, cycle + 1, dice.randrange(cycle, following)} - {following}):
            device.advance(asked)
            assert _surprises(device, host, asked) == [], (number, asked)
        cycle = following
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
            device.access(BusAccess(cycle, what, write, value if write else 0, 0b1111, number))
        assert _surprises(device, host, cycle) == [], (number, cycle)
    assert len(host.changes(0)) > 10  # the traffic did move pins


@pytest.mark.parametrize(
    ("name", "calls", "cycle", "answer"),
    [(name, *case) for name, one in STEPPED.items() for case in one.next_edges],
)
def test_next_edge_names_the_cycle(
    name: str, calls: tuple[tuple[int, int | str, int], ...], cycle: int, answer: int | None
) -> None:
    """After these calls the model names exactly the cycle in which something happens by itself."""
    device, _ = _built(name)
    for number, (call, what, value) in enumerate(calls):
        if isinstance(what, str):
            device.input(call, what, value)
        else:
            device.access(BusAccess(call, what, True, value, 0b1111, number))
    device.advance(cycle)
    assert device.next_edge(cycle) == answer
