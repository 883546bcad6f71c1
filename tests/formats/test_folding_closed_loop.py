"""Drawn firmware, recorded with one timing and folded, against the same firmware run with another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from busbox import Bench, Recording
from busbox.cpu import Bus
from busbox.cpu.steps import Until
from busbox.formats.folding import fold
from busbox.recording.as_steps import steps_of

SAME = ("start", "end", "address", "write", "lanes", "data", "terminator", "pc")


@dataclass(frozen=True)
class Firmware:
    """Steps of a driver: bytes that are sent, waits for the counter, waits for a pin.

    Attributes
    ----------
    ops : ``byte``, ``wait`` (a wait for ``cycles``) or ``pin``
    cycles : the limit of the function that waits
    every : idle cycles of each of the three loops
    """

    ops: tuple[str, ...]
    cycles: int
    every: tuple[int, int, int]

    def __call__(self, bus: Bus) -> None:
        """Run it."""
        for count, op in enumerate(self.ops):
            if op == "byte":
                bus.poll("telegraph.STATUS", 1, mask=1, every=self.every[0], wait=3, pc=0x100)
                bus.write("telegraph.DATA", count, wait=2, pc=0x104)
            elif op == "wait":
                start = bus.read("clock.NOW", wait=1, pc=0x200)
                bus.until(
                    "clock.NOW", self.cycles, since=start, every=self.every[1], wait=2, pc=0x204
                )
            else:
                bus.poll("levers.IN", 0x10, mask=0x10, every=self.every[2], pc=0x300)
            bus.write("levers.OUT", count, wait=4, pc=0x400)


@st.composite
def firmware(draw: st.DrawFn) -> Firmware:
    """Draw firmware."""
    ops = draw(st.lists(st.sampled_from(("byte", "byte", "wait", "pin")), min_size=1, max_size=12))
    every = tuple(draw(st.integers(0, 15)) for _ in range(3))
    return Firmware(tuple(ops), draw(st.sampled_from((100, 256, 500, 1000))), every)


timings = st.fixed_dictionaries(
    {
        "wait": st.integers(0, 4),
        "registered_decode": st.booleans(),
        "divisor": st.integers(1, 30),
        "pulled": st.integers(1, 3000),
    }
)


def bench(timing: dict[str, Any]) -> Bench:
    """Return the bench with a timing."""
    return Bench(
        {
            "clock": "1 MHz",
            "fabric": {"registered_decode": timing["registered_decode"]},
            "slot": {
                "levers": {
                    "model": "gpio", "base": 0x1000, "size": 0x100, "wait": timing["wait"],
                },
                "clock": {
                    "model": "timer", "base": 0x2000, "size": 0x20, "wait": timing["wait"],
                },
                "telegraph": {
                    "model": "uart", "base": 0x3000, "size": 0x10, "wait": timing["wait"],
                    "divisor": timing["divisor"],
                },
            },
            "input": [{"at": timing["pulled"], "pin": "levers.in.4", "level": 1}],
        }
    )  # fmt: skip


def assert_same(seen: Recording, expected: Recording) -> None:
    """Assert that two runs have the same accesses, texts and lines."""
    for name in SAME:
        assert np.array_equal(seen.accesses[name], expected.accesses[name]), name
    assert seen.texts == expected.texts
    assert (seen.cycles, seen.ended) == (expected.cycles, expected.ended)


@pytest.mark.quick
@settings(max_examples=15, deadline=None)
@given(firmware(), timings, timings)
def test_folded_traffic_does_what_its_firmware_does(
    drawn: Firmware, timing: dict[str, Any], other: dict[str, Any]
) -> None:
    """Folded traffic gives the recording, and with another timing what the firmware does.

    The latter holds where every loop was seen to wait, so that it could be folded, and the roundest
    limit is that of the firmware.
    """
    recorded = bench(timing).run("python", traffic=drawn)
    folded = fold(steps_of(recorded, None))
    assert_same(bench(timing).run("python", traffic=list(folded.steps)), recorded)
    seen = {note.loop.key[2] for note in folded.notes if note.condition}
    wanted = {{"byte": 0x100, "wait": 0x204, "pin": 0x300}[op] for op in drawn.ops}
    assume(seen == wanted)
    untils = [step for step in folded.steps if isinstance(step, Until)]
    assume(all(step.value == drawn.cycles for step in untils))
    replayed = bench(other).run("python", traffic=list(folded.steps))
    assert_same(replayed, bench(other).run("python", traffic=drawn))
    assert "read-differs" not in replayed.counts
