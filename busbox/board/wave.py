"""The edges of one line, whatever they come from: a recording's pin or a capture of a real board."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from busbox.device import RELEASED
from busbox.errors import shown

if TYPE_CHECKING:
    from busbox.recording import Line

#: Ticks of a wave are 64-bit whole numbers.
TICK_LIMIT = 1 << 63


@dataclass(frozen=True, eq=False)
class Wave:
    """The levels of one line from ``times[0]`` up to ``end``, not included.

    Attributes
    ----------
    times : ticks at which the level changes, int64, strictly increasing; the first is the first tick
        that is known
    levels : uint8, 0 or 1: the level from the tick in ``times`` on; each differs from the one before
    tick : seconds a tick lasts, exact
    end : the first tick that is no longer known

    Raises
    ------
    ValueError : the columns, the tick or the end are not as above
    """

    times: NDArray[np.int64]
    levels: NDArray[np.uint8]
    tick: Fraction
    end: int

    def __post_init__(self) -> None:
        times, levels = _column("times", self.times), _column("levels", self.levels)
        if len(times) != len(levels):
            raise ValueError(f"levels must be as many as times, {len(times)}, not {len(levels)}")
        _check_levels(levels)
        _check_times(times, self.end)
        if not isinstance(self.tick, Fraction) or self.tick <= 0:
            raise ValueError(f"tick must be a Fraction above 0, not {shown(self.tick)}")
        object.__setattr__(self, "times", times.astype(np.int64))
        object.__setattr__(self, "levels", levels.astype(np.uint8))
        object.__setattr__(self, "end", int(self.end))

    @classmethod
    def of_line(cls, line: Line, clock_hz: int, cycles: int) -> Wave:
        """Return the wave of a recording's pin; a tick is a cycle.

        A released pin keeps the level that it had before; one that begins released begins low.

        Parameters
        ----------
        line : the pin's history
        clock_hz : hertz
        cycles : the last row of the recording + 1

        Raises
        ------
        ValueError : the line has an edge in ``cycles`` or later
        """
        times, levels = np.asarray(line.cycles), np.asarray(line.levels)
        driven = np.flatnonzero(levels != RELEASED)
        place = np.searchsorted(driven, np.arange(len(levels)), side="right") - 1
        held = np.zeros(len(levels), dtype=np.uint8)
        held[place >= 0] = levels[driven[place[place >= 0]]]
        moves = np.concatenate(([True], held[1:] != held[:-1]))
        return cls(times[moves], held[moves], Fraction(1, clock_hz), cycles)

    @property
    def tick_ns(self) -> Fraction:
        """Nanoseconds a tick lasts, exact."""
        return self.tick * 10**9


def _column(name: str, values: Any) -> NDArray[Any]:
    column = np.asarray(values)
    if column.ndim != 1 or not len(column) or column.dtype.kind not in "iu":
        raise ValueError(
            f"{name} must be a row of whole numbers, at least one, "
            f"not {column.dtype} of shape {column.shape}"
        )
    return column


def _check_levels(levels: NDArray[Any]) -> None:
    for wrong in np.flatnonzero((levels != 0) & (levels != 1))[:1]:
        raise ValueError(f"levels[{wrong}] must be 0 or 1, not {levels[wrong]}")
    for same in np.flatnonzero(levels[1:] == levels[:-1])[:1]:
        raise ValueError(
            f"levels[{same + 1}] must be {1 - int(levels[same])}, the other level, "
            f"not {levels[same]} again"
        )


def _check_times(times: NDArray[Any], end: Any) -> None:
    if isinstance(end, bool) or not isinstance(end, int | np.integer):
        raise ValueError(f"end must be a whole number of ticks, not {shown(end)}")
    first, last = int(times[0]), int(times[-1])
    for early in np.flatnonzero(times[1:] <= times[:-1])[:1]:
        raise ValueError(
            f"times[{early + 1}] must be after the tick before, {times[early]}, "
            f"not {times[early + 1]}"
        )
    if end <= last:
        raise ValueError(f"end must be after the last edge, in tick {last}, not {end}")
    if first < -TICK_LIMIT or end >= TICK_LIMIT or end - first >= TICK_LIMIT:
        raise ValueError(f"a wave must span less than 2**63 ticks, not {first} to {end}")
