"""The cabin's program at several clocks and wait states, against a calculation by hand.

Sources of the windows, in ns: P1 application brief SCLA084 (Oct 2025), table 2-1; P2 Microchip online
documentation, single-wire LED application note (GUID-F71DC860), table 1-1; P3 datasheet document
104020171, pages 3-4; P4 common practice, no source.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

import busbox
from busbox.bench.bench import Bench

pytest.importorskip("llvmlite")

#: High of a zero and of a one, low of a zero and of a one, and the latch gap that must be exceeded.
WINDOWS = {
    "P1": ((200, 500), (550, 850), (650, 950), (450, 750), 200_000),
    "P2": ((220, 380), (580, 1000), (580, 1000), (580, 1000), 280_000),
    "P3": ((220, 380), (580, 1600), (580, 1600), (220, 420), 280_000),
    "P4": ((250, 550), (650, 950), (700, 1000), (300, 600), 50_000),
}
#: What the program writes into HIGH and PERIOD, in cycles: high of a zero and of a one, a bit, a gap.
ZERO, ONE, BIT = 6, 12, 20
#: Lamps, and bits of each.
LAMPS, BITS = 12, 24
CLOCKS = (8, 12, 16, 24, 48)


def by_hand(clock_mhz: int) -> set[str]:
    """Return the profiles that the four times of a bit keep at a clock; the gaps are long ones."""
    cycle = Fraction(1000, clock_mhz)
    times = [count * cycle for count in (ZERO, ONE, BIT - ZERO, BIT - ONE)]
    return {
        name
        for name, windows in WINDOWS.items()
        if all(low <= time <= high for time, (low, high) in zip(times, windows[:4], strict=True))
    }


@pytest.fixture(scope="module")
def table() -> Any:
    """Return the sweep of the executed program."""
    vary = {"clock": [f"{clock} MHz" for clock in CLOCKS], "slot.lamps.wait": [0, 2, 4]}
    return busbox.sweep("signal_cabin", vary, engine="llvm", jobs=1)


@pytest.mark.parametrize("clock", CLOCKS)
def test_profiles_are_kept_as_calculated(table: Any, clock: int) -> None:
    """At each clock, whatever the wait states, the profiles that the calculation gives."""
    rows = [row for row in table.rows if row["clock"] == f"{clock} MHz"]
    assert len(rows) == 3
    for row in rows:
        kept = {name for name in WINDOWS if row[f"kept.string.{name}"]}
        assert kept == by_hand(clock)
        assert ("pulse-width" in str(row["rules"])) == (not kept)


def test_the_program_prints_and_shows_what_it_does_at_its_own_clock(table: Any) -> None:
    """Texts differ in their digits only, which are times; no byte is lost; all 38 frames are sent."""
    for row in table.rows:
        as_it_stands = (row["clock"], row["slot.lamps.wait"]) == ("16 MHz", 1)
        assert row["texts"] == ("equal" if as_it_stands else "digits"), row
        assert row["bytes_lost"] == 0
        assert row["certain_until"] is None
        assert row["ended"] == "done"
        if by_hand(int(str(row["clock"]).split()[0])):
            assert (row["frames"], row["colours"]) == (38, True)


@pytest.mark.parametrize("clock", CLOCKS)
def test_a_frame_lasts_as_calculated(clock: int) -> None:
    """From the first rising edge of a frame to that of its last bit: all bits but one, in cycles."""
    bench = Bench.load("signal_cabin").with_values({"clock": f"{clock} MHz", "slot.lamps.wait": 3})
    recording = bench.run("llvm", 60_000, carried=False)
    cycles, levels = recording.edges("lamps.line")
    rises = cycles[levels == 1]
    assert rises[LAMPS * BITS - 1] - rises[0] == (LAMPS * BITS - 1) * BIT
    assert sorted({*(cycles[2:][levels[2:] == 0] - rises[: len(cycles[2:][levels[2:] == 0])])}) == [
        ZERO, ONE,
    ]  # fmt: skip
