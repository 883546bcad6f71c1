"""Lines that were captured together, as waves that share tick and end."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.lines.wave import Wave

#: No time of a capture is further from 0, in ticks: sums of two stay below 2^63.
LONGEST = 1 << 60

Array = NDArray[Any]


def waves_of(
    tracks: Mapping[str, tuple[Array, Array]], last: int, tick: Fraction
) -> dict[str, Wave]:
    """Return the waves of the lines.

    They end at the last time; one tick later if a line changes there, as that level was seen.

    Parameters
    ----------
    tracks : name to (int64 times in ticks, uint8 levels 0 or 1); a level may repeat the one before
    last : the last time in the capture, in ticks
    tick : seconds a tick
    """
    found = {name: _changes(*track) for name, track in tracks.items()}
    seen = any(len(times) and times[-1] == last for times, _ in found.values())
    return {name: Wave(*track, tick, last + int(seen), sampling=1) for name, track in found.items()}


def _changes(times: Array, levels: Array) -> tuple[Array, Array]:
    """Return times and levels without those that repeat the level before."""
    changed = np.ones(len(levels), dtype=bool)
    changed[1:] = levels[1:] != levels[:-1]
    return times[changed], levels[changed]
