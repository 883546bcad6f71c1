"""The lamp line of model and hardware, cycle by cycle, for counts that suit published windows.

Sources of the windows, in ns: P1 application brief SCLA084 (Oct 2025), table 2-1; P2 Microchip online
documentation, single-wire LED application note (GUID-F71DC860), table 1-1; P3 datasheet document
104020171, pages 3-4; P4 common practice, no source. The counts at 16 MHz (62.5 ns a clock) are chosen
inside them; those of P4 are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import pytest

from busbox.bench.bench import Bench
from busbox.cpu.steps import AccessStep, Named
from busbox.recording import Recording

CLOCK = 16_000_000
COLOURS = (0x12A57C, 0xFF0001)


@dataclass(frozen=True)
class Case:
    """Windows in ns, and clock counts that lie inside: high of a zero and a one, bit, gap."""

    zero_high: tuple[int, int]
    one_high: tuple[int, int]
    zero_low: tuple[int, int]
    one_low: tuple[int, int]
    gap_above: int
    counts: tuple[int, int, int, int]


CASES = {
    "P1": Case((200, 500), (550, 850), (650, 950), (450, 750), 200_000, (6, 11, 19, 3300)),
    "P2": Case((220, 380), (580, 1000), (580, 1000), (580, 1000), 280_000, (6, 10, 20, 4500)),
    "P3": Case((220, 380), (580, 1600), (580, 1600), (220, 420), 280_000, (5, 15, 20, 4500)),
    "P4": Case((250, 550), (650, 950), (700, 1000), (300, 600), 50_000, (7, 13, 20, 960)),
}


def run(case: Case, how: str) -> Recording:
    """Send two lamps' colours twice, one frame right after the other."""
    zero, one, bit, gap = case.counts
    slot = {
        "model": "pulse_led", "as": how, "base": 0, "size": 0x200, "lamps": 2, "count": 2,
        "high": one << 16 | zero, "period": gap << 16 | bit,
    }  # fmt: skip
    steps = [
        AccessStep(True, Named("lamps", f"COLOUR.{lamp}"), colour)
        for lamp, colour in enumerate(COLOURS)
    ]
    steps.append(AccessStep(True, Named("lamps", "CONTROL"), 3))  # SEND and REPEAT
    steps.append(AccessStep(True, Named("lamps", "CONTROL"), 0, wait=48 * bit + gap + 5))
    return Bench({"clock": "16 MHz", "slot": {"lamps": slot}}).run(traffic=steps)


@pytest.mark.parametrize("profile", CASES)
def test_the_line_of_model_and_hardware_is_one(profile: str) -> None:
    """Every edge of both frames is in the same cycle, with the same cause; BUSY ends together."""
    model, hardware = (run(CASES[profile], how) for how in ("model", "hardware"))
    assert len(model.lines["lamps.line"].cycles) == 1 + 2 * 2 * 48
    for column in ("cycles", "levels", "accesses"):
        one, other = (getattr(side.lines["lamps.line"], column) for side in (model, hardware))
        assert one.tolist() == other.tolist()
    assert model.cycles == hardware.cycles
    assert model.frames == hardware.frames


@pytest.mark.parametrize("profile", CASES)
def test_every_pulse_of_the_hardware_is_inside_its_window(profile: str) -> None:
    """High and low times of all 96 bits, and the gap between the frames, lie in the windows."""
    case = CASES[profile]
    cycles, levels = run(case, "hardware").edges("lamps.line")
    bits = "".join(f"{value >> shift & 0xFF:08b}" for value in COLOURS for shift in (8, 16, 0))
    spans = [
        (int(level), (int(end) - int(start)) * 10**9 / CLOCK)
        for (start, end), level in zip(pairwise(cycles), levels, strict=False)
    ][1:]
    highs = [span for level, span in spans if level]
    lows = [span for level, span in spans if not level]
    for place, bit in enumerate(bits * 2):
        high, low = (case.one_high, case.one_low) if bit == "1" else (case.zero_high, case.zero_low)
        assert high[0] <= highs[place] <= high[1]
        if place == len(bits) - 1:
            assert lows[place] > case.gap_above
        elif place < len(lows):
            assert low[0] <= lows[place] <= low[1]
