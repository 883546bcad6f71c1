"""The edges of one line: what is taken from a recording, and what is refused."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from busbox import load_bench
from busbox.lines.wave import Wave
from busbox.recording import Line

TICK = Fraction(1, 16_000_000)


def line(cycles: list[int], levels: list[int]) -> Line:
    """Return a pin's history."""
    return Line("output", np.array(cycles), np.array(levels, "u1"), np.full(len(cycles), -1))


def columns(wave: Wave) -> tuple[list[int], list[int]]:
    """Return times and levels as lists."""
    return wave.times.tolist(), wave.levels.tolist()


@pytest.mark.parametrize(
    ("levels", "times", "seen"),
    [
        ([0, 1, 0, 1], [0, 3, 5, 9], [0, 1, 0, 1]),
        ([0, 1, 2, 1], [0, 3], [0, 1]),  # released, then driven to what it was
        ([0, 1, 2, 0], [0, 3, 9], [0, 1, 0]),
        ([2, 0, 2, 1], [3, 9], [0, 1]),  # released at first: not known
        ([2, 1, 2, 0], [3, 9], [1, 0]),
        ([2, 2, 2, 2], [], []),
        ([1, 2, 0, 2], [0, 5], [1, 0]),
    ],
)
def test_a_released_level_is_the_one_before(
    levels: list[int], times: list[int], seen: list[int]
) -> None:
    """A released pin keeps its level; only changes stay, at the cycle in which they show."""
    wave = Wave.of_line(line([0, 3, 5, 9], levels), 16_000_000, 12)
    assert columns(wave) == (times, seen)
    assert (wave.tick, wave.tick_ns, wave.end) == (TICK, Fraction("62.5"), 12)
    assert (wave.times.dtype, wave.levels.dtype) == (np.int64, np.uint8)


def test_a_recording_that_was_stopped_in_a_pulse_gives_a_wave() -> None:
    """Edges that a model had announced for later than the last row are in no wave."""
    whole = load_bench("first_light").run()
    edge = whole.edges("lamps.line")[0].tolist()[5]
    part = load_bench("first_light").run(until=edge)
    wave = Wave.of_line(part.lines["lamps.line"], part.clock_hz, part.cycles)
    assert wave.times.tolist() == whole.edges("lamps.line")[0].tolist()[:5]
    assert wave.end == edge


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({"times": [0.0, 1.0, 2.0]}, "times must be a row of whole numbers, "
                                     "not float64 of shape (3,)"),
        ({"levels": [[0, 1, 0]]}, "levels must be a row of whole numbers, "
                                  "not int64 of shape (1, 3)"),
        ({"levels": [0, 1]}, "levels must be as many as times, 3, not 2"),
        ({"levels": [0, 2, 0]}, "levels[1] must be 0 or 1, not 2"),
        ({"levels": [0, 1, 1]}, "levels[2] must be 0, the other level, not 1 again"),
        ({"times": [0, 4, 4]}, "times[2] must be after the tick before, 4, not 4"),
        ({"times": [5, 4, 6]}, "times[1] must be after the tick before, 5, not 4"),
        ({"end": 7}, "end must be after the last edge, in tick 7, not 7"),
        ({"end": 9.0}, "end must be a whole number of ticks, not 9.0"),
        ({"end": 1 << 63}, f"a wave must span less than 2**63 ticks, not 0 to {1 << 63}"),
        ({"sampling": -1}, "sampling must be at least 0, not -1"),
        ({"tick": 1e-6}, "tick must be a Fraction above 0, not 1e-06"),
        ({"tick": Fraction(0)}, "tick must be a Fraction above 0, not Fraction(0, 1)"),
    ],
)  # fmt: skip
def test_a_wave_that_is_none_is_refused(changed: dict[str, Any], text: str) -> None:
    """Columns that are no edges, an end before the last edge, a tick that is no time: each is told."""
    keys: dict[str, Any] = {"times": [0, 3, 7], "levels": [0, 1, 0], "tick": TICK, "end": 9}
    assert columns(Wave(**keys)) == ([0, 3, 7], [0, 1, 0])
    with pytest.raises(ValueError) as refused:
        Wave(**keys | changed)
    assert str(refused.value) == text
