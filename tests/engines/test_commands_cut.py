"""Commands that a reset or a handler meets in the middle, on the engine python against the judge.

The other fast engine has the same loop and the same contract around it.
"""

from __future__ import annotations

import pytest

from busbox.basics.units import Span
from busbox.bench.bench import Bench
from busbox.cpu.steps import Await, Handler, Pause, Poll, Step
from tests.engines.test_quiescence import CLOCK, LEVERS, compare, read, write

SLOTS = {
    "levers": {"model": "gpio", "base": LEVERS, "size": 0x40},
    "clock": {"model": "timer", "base": CLOCK, "size": 0x20},
}


@pytest.mark.parametrize("cycle", range(6, 22, 2))
@pytest.mark.parametrize("after_reset", ["continue", "restart"])
def test_a_reset_around_a_poll(cycle: int, after_reset: str) -> None:
    """In a read, between two reads, before the first and after the last: what is played again."""
    keys = {"clock": "1 MHz", "after_reset": after_reset, "reset": [{"at": cycle, "length": 2}]}
    bench = Bench({**keys, "slot": SLOTS})
    steps: list[Step] = [write(LEVERS, 1), Poll(LEVERS, 0, every=3, limit=3, wait=3),
                         Pause(Span(cycles=4)), write(LEVERS, 2, wait=2), read(LEVERS)]  # fmt: skip
    recording = compare(bench, steps, ("python",))
    assert len(recording.resets) == 1


@pytest.mark.parametrize("limit", range(4, 14, 2))
def test_an_await_that_a_handler_interrupts(limit: int) -> None:
    """It has as many cycles as it had left, and gives up in the same cycle on every engine."""
    pulled = [
        {"at": 9, "pin": "levers.in.0", "level": 1},
        {"at": 12, "pin": "levers.in.0", "level": 0},
    ]
    bench = Bench({"clock": "1 MHz", "slot": SLOTS, "input": pulled})
    handler = Handler("lever", "levers.in.0", (read(LEVERS + 0x10), read(LEVERS)), 2, 1)
    steps: list[Step] = [write(LEVERS, 1), Await("levers.in.5", 1, Span(cycles=limit)),
                         read(CLOCK), Pause(Span(cycles=5)), read(CLOCK)]  # fmt: skip
    recording = compare(bench, [handler, *steps], ("python",))
    assert "poll-timeout" in {one.rule for one in recording.findings}


@pytest.mark.parametrize("cycle", range(4, 24, 3))
def test_commands_that_a_handler_interrupts(cycle: int) -> None:
    """In a wait, between two reads of a poll, in a pause: what is left is as long on every engine."""
    pulled = [{"at": cycle + more, "pin": "levers.in.0", "level": 1 - more // 4} for more in (0, 4)]
    bench = Bench({"clock": "1 MHz", "slot": SLOTS, "input": pulled})
    handler = Handler("lever", "levers.in.0", (read(LEVERS),), 1, 2)
    steps: list[Step] = [write(LEVERS, 1, wait=5), Poll(LEVERS, 0, every=4, limit=2),
                         Pause(Span(cycles=6)), read(CLOCK), read(CLOCK, 3)]  # fmt: skip
    recording = compare(bench, [handler, *steps], ("python",))
    assert len(recording.accesses) > 5
