"""The picture of a pulse and its windows."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox import load_bench
from busbox.board.lamp_reading import LampReading
from busbox.lines.profiles import WINDOWS, show_ns
from busbox.pictures import Look, pulse_picture
from busbox.pictures.pulse import lamp_strings, reading_of, strips_of
from tests.pictures.geometry import check_geometry, words

pytestmark = pytest.mark.quick


def _reading(bench: str, **values: str) -> LampReading:
    loaded = load_bench(bench).with_values([f"{key}={value}" for key, value in values.items()])
    system = loaded.system()
    ((pin, string),) = lamp_strings(system).items()
    return reading_of(loaded.run(engine="python"), pin, string)


@pytest.fixture(
    scope="module", params=["first_light", "P3", "mistakes/lamp_gap", "mistakes/lamp_clock"]
)
def reading(request: pytest.FixtureRequest) -> LampReading:
    """Return lines that meet a profile, and lines that do not."""
    if Path(request.param).name == "P3":
        return _reading("first_light", **{"attach.string.profile": "P3"})
    return _reading(request.param)


def test_a_pulse_is_outside_in_the_picture_where_it_is_for_the_judgement(
    reading: LampReading,
) -> None:
    """The pulses with a strip outside its window are exactly those with a failure."""
    count = len(reading.read.bits.begin)
    outside = {
        number
        for number in range(count)
        if not all(one.inside or one.open for one in strips_of(reading, number))
    }
    assert outside == set(reading.read.failing_bits.tolist())


@pytest.mark.parametrize("look", [Look(), Look(358, dark=True), Look(1100)], ids=str)
def test_times_are_those_of_the_run_and_apart(reading: LampReading, look: Look) -> None:
    """The first, a middle and the last pulse: their times are in words, nothing overlaps."""
    bits = reading.read.bits
    for number in (0, len(bits.begin) // 2, len(bits.begin) - 1):
        picture = pulse_picture(reading, number, look, "lamps.line")
        check_geometry(picture)
        assert picture == pulse_picture(reading, number, look, "lamps.line")
        for ticks in (int(bits.high[number]), int(bits.low[number])):
            assert f"{ticks:,} cycle" in words(picture)
            assert show_ns(ticks * reading.wave.tick_ns) in words(picture)


def test_there_is_no_pulse_beyond_the_last(reading: LampReading) -> None:
    """The message gives the numbers that there are."""
    count = len(reading.read.bits.begin)
    with pytest.raises(IndexError, match=rf"pulse must be 0 to {count - 1}, not {count}"):
        pulse_picture(reading, count, Look())


def test_a_gap_that_is_too_short_is_called_a_gap() -> None:
    """Between two frames that lamps take for one, the low is beside the window of a latch gap."""
    reading = _reading("mistakes/lamp_gap")
    failures = reading.read.failures
    gaps = reading.read.failing_bits[failures.window == list(WINDOWS).index("gap")]
    assert len(gaps)
    for number in gaps.tolist():
        assert f"latch gap {int(reading.read.bits.low[number])} cycles" in words(
            pulse_picture(reading, number, Look(), "lamps.line")
        )
    assert "latch gap" not in words(pulse_picture(reading, int(gaps[0]) - 1, Look()))
