"""The edges of one line, whatever they come from: a recording's pin or a capture of a real board."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import format_value
from busbox.device import RELEASED

if TYPE_CHECKING:
    from busbox.recording import Line

Array = NDArray[Any]

#: Ticks of a wave are 64-bit whole numbers.
TICK_LIMIT = 1 << 63


@dataclass(frozen=True, eq=False)
class Wave:
    """One line's edges: all that its decoder knows. Before ``times[0]`` nothing is known.

    Times are in ticks: a tick is a cycle in a wave of a run, and a step of the file in a capture of
    real hardware.

    Attributes
    ----------
    times : int64, in ticks, strictly increasing, each below ``end``; there may be none
    levels : uint8, one for each time, 0 or 1: the level from then on; it changes every time
    tick : seconds a tick lasts, exact
    end : the first tick that is not known any more
    sampling : ticks by which a length between two edges may be wrong: 0 in a recording, which is
        exact; 1 in a capture, which sees an edge at the next sample only
    cuts : ticks in which a reset, and not the sender, moved the line, if it moved

    Raises
    ------
    ValueError : the columns, the tick or the end are not as said
    """

    times: Array
    levels: Array
    tick: Fraction
    end: int
    sampling: int = 0
    cuts: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        times, levels = _column("times", self.times), _column("levels", self.levels)
        if len(times) != len(levels):
            raise ValueError(f"levels must be as many as times, {len(times)}, not {len(levels)}")
        _check_levels(levels)
        _check_times(times, self.end)
        if not isinstance(self.tick, Fraction) or self.tick <= 0:
            raise ValueError(f"tick must be a Fraction above 0, not {format_value(self.tick)}")
        if self.sampling < 0:
            raise ValueError(f"sampling must be at least 0, not {self.sampling}")
        object.__setattr__(self, "times", times.astype(np.int64))
        object.__setattr__(self, "levels", levels.astype(np.uint8))
        object.__setattr__(self, "end", int(self.end))

    @classmethod
    def of_line(
        cls, line: Line, clock_hz: int, cycles: int, resets: Iterable[tuple[int, int]] = ()
    ) -> Wave:
        """Return the wave of a recorded pin: a tick is a cycle, and the run's end is the end.

        A released level counts as the level before it.

        Parameters
        ----------
        line : the pin's history
        clock_hz : hertz
        cycles : length of the run
        resets : (first cycle, number of cycles) of each
        """
        known = (line.levels != RELEASED) & (line.cycles < cycles)
        times, levels = line.cycles[known], line.levels[known]
        changed = np.diff(levels, prepend=RELEASED) != 0
        cuts = tuple(first + 1 for first, _ in resets)
        return cls(times[changed], levels[changed], Fraction(1, clock_hz), cycles, cuts=cuts)

    @property
    def tick_ns(self) -> Fraction:
        """Nanoseconds a tick lasts, exact."""
        return self.tick * 10**9


def _column(name: str, values: Any) -> Array:
    column = np.asarray(values)
    if column.ndim != 1 or (len(column) and column.dtype.kind not in "iu"):
        raise ValueError(
            f"{name} must be a row of whole numbers, not {column.dtype} of shape {column.shape}"
        )
    return column


def _check_levels(levels: Array) -> None:
    for wrong in np.flatnonzero((levels != 0) & (levels != 1))[:1]:
        raise ValueError(f"levels[{wrong}] must be 0 or 1, not {levels[wrong]}")
    for same in np.flatnonzero(levels[1:] == levels[:-1])[:1]:
        raise ValueError(
            f"levels[{same + 1}] must be {1 - int(levels[same])}, the other level, "
            f"not {levels[same]} again"
        )


def _check_times(times: Array, end: Any) -> None:
    if isinstance(end, bool) or not isinstance(end, int | np.integer):
        raise ValueError(f"end must be a whole number of ticks, not {format_value(end)}")
    for early in np.flatnonzero(times[1:] <= times[:-1])[:1]:
        raise ValueError(
            f"times[{early + 1}] must be after the tick before, {times[early]}, "
            f"not {times[early + 1]}"
        )
    first, last = (int(times[0]), int(times[-1])) if len(times) else (end - 1, end - 1)
    if end <= last:
        raise ValueError(f"end must be after the last edge, in tick {last}, not {end}")
    if first < -TICK_LIMIT or end >= TICK_LIMIT or end - first >= TICK_LIMIT:
        raise ValueError(f"a wave must span less than 2**63 ticks, not {first} to {end}")
