"""What the tests in this folder share: waves made of pulses, and the outside values of lamp lines."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from busbox.lines.wave import Wave

#: Ticks before the first pulse.
LEAD = 5
#: 10 ns a tick, in seconds: every end of a window below is a whole number of ticks.
TEN_NS = Fraction(1, 100_000_000)


def wave_of(
    pulses: Iterable[tuple[int, int]],
    tick: Fraction = TEN_NS,
    cut: bool = False,
    sampling: int = 0,
) -> Wave:
    """Return the wave of (ticks high, ticks low) after a low lead; with ``cut`` it ends in a pulse."""
    times, now = [0], LEAD
    for high, low in pulses:
        times += [now, now + high]
        now += high + low
    if cut:
        times.append(now)
        now += 1
    levels = np.arange(len(times)) % 2
    return Wave(np.array(times), levels.astype(np.uint8), tick, now, sampling)


class Limits(NamedTuple):
    """Nanoseconds: the ends of the windows; None for no longest. ``reaches``: the gap's end belongs."""

    zero_high: tuple[int, int | None]
    one_high: tuple[int, int | None]
    zero_low: tuple[int, int | None]
    one_low: tuple[int, int | None]
    gap: int
    reaches: bool
    channels: int
    lamp_bits: int

    def times(self, bit: int) -> tuple[int, int]:
        """Return a typical (high, low) of a bit in ns: the middle of its windows."""
        high, low = (self.one_high, self.one_low) if bit else (self.zero_high, self.zero_low)
        return _middle(high), _middle(low)


def _middle(ends: tuple[int, int | None]) -> int:
    return ends[0] if ends[1] is None else (ends[0] + ends[1]) // 2


LIMITS = {
    # Application brief SCLA084 (Oct 2025), table 2-1: 350, 700, 800, 600, each +-150; > 200 us.
    "P1": Limits((200, 500), (550, 850), (650, 950), (450, 750), 200_000, False, 3, 24),
    # Microchip online documentation, single-wire LED application note (GUID-F71DC860), table 1-1.
    "P2": Limits((220, 380), (580, 1000), (580, 1000), (580, 1000), 280_000, False, 3, 24),
    # Datasheet document 104020171, pages 3-4.
    "P3": Limits((220, 380), (580, 1600), (580, 1600), (220, 420), 280_000, False, 3, 24),
    # Common practice, no source: 400, 800, 850, 450, each +-150; > 50 us.
    "P4": Limits((250, 550), (650, 950), (700, 1000), (300, 600), 50_000, False, 3, 24),
    # Driver data page UCS8904B: 400 and 850 high, low >= 850 and >= 400, 48 us; 4 x 16 bit.
    "P5": Limits((400, 400), (850, 850), (850, None), (400, None), 48_000, True, 4, 64),
}
