"""What the board of signal_cabin sees: real compiled firmware, judged at the wires."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from busbox import Recording, load_bench
from busbox.board.light import flashing
from busbox.findings.expectations import frames_of, text_of

pytestmark = pytest.mark.quick

#: What the terminal showed when the firmware's accesses were recorded (the traffic's own description).
TEXT = (
    "cabin open\ntrain 1 clear at 429442\ntrain 2 clear at 618555\ntrain 3 clear at 807668\n"
    "cabin shut\n"
)
LAMPS = 12


@pytest.fixture(scope="module")
def cabin() -> Recording:
    """Return a run of signal_cabin."""
    return load_bench("signal_cabin").run("python")


def test_nothing_is_found(cabin: Recording) -> None:
    """No rule finds anything in the run, those of the board included."""
    assert cabin.counts == {}


def test_the_wire_says_what_the_devices_meant(cabin: Recording) -> None:
    """The terminal reads the five lines; the lamps show the 38 frames that were sent."""
    assert text_of(cabin, "paper") == TEXT
    assert cabin.seen["paper"].facts["framing_errors"] == 0
    frames, meant = frames_of(cabin, "string"), cabin.frames["lamps"]
    assert len(frames) == 38
    assert [(one.cycle, one.access, one.colours) for one in frames] == [
        (one.cycle, one.access, one.colours) for one in meant
    ]


def test_the_timing_keeps_two_profiles(cabin: Recording) -> None:
    """6 and 12 of 20 cycles at 16 MHz with a gap of 300 us: P1 and P4 are kept, P2 and P3 are not."""
    # 375, 750, 875 and 500 ns against the tables: SCLA084 table 2-1 and common practice allow them;
    # GUID-F71DC860 table 1-1 wants 580 ns of low after a one, document 104020171 at most 420 ns.
    profiles = cabin.seen["string"].facts["profiles"]
    assert [name for name, one in profiles.items() if one["passes"]] == ["P1", "P4"]
    for name in ("P2", "P3"):
        assert {key for key, one in profiles[name]["windows"].items() if one["outside"]} == {
            "one_low"
        }


def test_each_lamp_flashes_exactly_three_times(cabin: Recording) -> None:
    """Three general flashes and three red ones of every lamp in the whole run: just allowed."""
    # WCAG 2.2, success criterion 2.3.1: at most three in any one second; linear light.
    frames = frames_of(cabin, "string")
    shows = np.array([one.cycle for one in frames], dtype=np.int64)
    colours = np.array([one.colours for one in frames], dtype=np.uint32)
    found = flashing(shows, colours, Fraction(1, cabin.clock_hz))
    assert [(one.lamp, one.kind, one.most) for one in found] == [
        (lamp, kind, 3) for lamp in range(LAMPS) for kind in ("general", "red")
    ]
    assert cabin.seen["string"].facts["flashes"] == {"general": 3, "red": 3}


def test_the_current_is_that_of_the_brightest_picture(cabin: Recording) -> None:
    """Ten lamps green, one red, one yellow at 20 mA a channel: 784 / 255 of a channel's current."""
    # Common practice, no source: 20 mA a channel. 10 x 0x40 + 0x40 + (0x30 + 0x20) = 784.
    supply = cabin.seen["string"].facts["supply"]
    assert supply["peak_amperes"] == pytest.approx(784 / 255 * 0.020)
    assert cabin.notes == (
        "All lamps together draw 61.49 mA at the peak and 59.6 mA on average; the supply gives 2 A.",
    )
