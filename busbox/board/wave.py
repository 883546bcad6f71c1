"""The edges of one line: all that whoever listens to it knows."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from busbox.device import RELEASED

if TYPE_CHECKING:
    from busbox.recording import Line

Array = NDArray[Any]


@dataclass(frozen=True)
class Wave:
    """One line's edges. Before ``times[0]`` its level is not known.

    Attributes
    ----------
    times : int64, in ticks, strictly increasing, each below ``end``
    levels : uint8, one for each time, 0 or 1: the level from then on; it changes every time
    tick : seconds a tick
    end : the first tick that is no longer known

    Raises
    ------
    ValueError : the columns are not as said
    """

    times: Array
    levels: Array
    tick: Fraction
    end: int

    def __post_init__(self) -> None:
        times = np.asarray(self.times, dtype="i8")
        levels = np.asarray(self.levels, dtype="u1")
        object.__setattr__(self, "times", times)
        object.__setattr__(self, "levels", levels)
        if times.ndim != 1 or times.shape != levels.shape:
            raise ValueError(
                f"levels must be one for each time, not {levels.shape} for {times.shape}"
            )
        if (np.diff(times) <= 0).any():
            raise ValueError("times must be strictly increasing")
        if (levels > 1).any() or (levels[1:] == levels[:-1]).any():
            raise ValueError("levels must be 0 or 1, and change every time")
        if len(times) and times[-1] >= self.end:
            raise ValueError(f"times must be below the end, {self.end}, not {times[-1]}")

    @classmethod
    def of_line(cls, line: Line, clock_hz: int, cycles: int) -> Wave:
        """Return the wave of a recorded pin: a tick is a cycle, and the run's end is the end.

        A released level counts as the level before it.

        Parameters
        ----------
        line : the pin's history
        clock_hz : hertz
        cycles : length of the run
        """
        known = (line.levels != RELEASED) & (line.cycles < cycles)
        times, levels = line.cycles[known], line.levels[known]
        changed = np.diff(levels, prepend=RELEASED) != 0
        return cls(times[changed], levels[changed], Fraction(1, clock_hz), cycles)
