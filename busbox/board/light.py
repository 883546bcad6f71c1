"""How often lamps flash, as the three-flashes rule counts it.

Flashing light can cause seizures. This check judges each lamp alone, by its values, without regard to
area, brightness or distance, so it clears no installation: local codes and licensed practice decide.

Rules
=====
1. In any one second there may be at most three general flashes, and at most three red ones. A second
   holds its begin and not its end: two changes lie in one if they are less than one second apart.
2. A flash is a pair of opposing changes. Pairs do not overlap: the first and the second change in a
   second are a flash, the third and the fourth the next.
3. A general change is one of relative luminance by 0.1 or more, where the darker state is below 0.8.
4. A red change is one of max(0, R - G - B) x 320, of linear values from 0 to 1, by more than 20, where
   R / (R + G + B) is 0.8 or more in either state. This is the older working definition in the field;
   the newer one, by chromaticity (from memory), is not checked here.
5. A change counts in the first frame that differs so from any frame since the last change (that frame
   included), against the direction of the last change. Several steps in one direction are thus one
   change. The first may go either way; if it could be both, it is a fall just where the last step is.
6. A lamp is dark before its first frame.
7. :mod:`busbox.lines.colour` describes what light a value gives.

Sources: rules 1 to 4: WCAG 2.2, success criterion 2.3.1 and the definitions that it names; rules 5 and
6 are our own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from busbox.basics.errors import format_value
from busbox.lines import colour
from busbox.lines.bits import Ints
from busbox.lines.colour import Colours, Flags, Floats, check_shown

#: The most flashes of a kind that pass, in any second.
FLASHES = 3


@dataclass(frozen=True)
class Flashing:
    """How often a lamp flashes.

    Attributes
    ----------
    lamp : from 0
    kind : "general" or "red"
    most : the most flashes in any second
    start : tick of the first change of the first such second; -1 if ``most`` is 0
    end : tick of the last change of the last flash in it; -1 if ``most`` is 0
    """

    lamp: int
    kind: str
    most: int
    start: int
    end: int

    @property
    def passes(self) -> bool:
        """Whether no second holds more than :data:`FLASHES`."""
        return self.most <= FLASHES


def flashing(
    shows: Ints, colours: Colours, tick: Fraction, light: str = "linear"
) -> list[Flashing]:
    """Return how often each lamp flashes: in order of lamp, general before red.

    Parameters
    ----------
    shows : ticks, strictly rising; a frame that the lamps never show must be left out
    colours : what each lamp shows from ``shows[f]`` on, 0xRRGGBB or 0xWWRRGGBB, frames x lamps
    tick : seconds a tick lasts
    light : "linear" or "srgb", see :mod:`busbox.lines.colour`

    Raises
    ------
    ValueError : the columns or the tick are not as said, or the light is unknown
    """
    check_shown(shows, colours)
    if not isinstance(tick, Fraction) or tick <= 0:
        raise ValueError(f"tick must be a Fraction above 0, not {format_value(tick)}")
    one = colour.full(light)
    dark = np.zeros(colours.shape[1], dtype=np.uint32)
    kinds = {
        "general": _Changes(dark, light, colour.general, lambda by: by >= 1000 * one),
        "red": _Changes(dark, light, colour.red, lambda by: by > 20 * one),
    }
    before = dark
    for now, frame in zip(shows.tolist(), colours, strict=True):
        if not np.array_equal(frame, before):
            for changes in kinds.values():
                changes.take(now, frame)
        before = frame
    reach = min(-(-1 // tick) - 1, (1 << 64) - 1)
    found = {kind: changes.ticks() for kind, changes in kinds.items()}
    return [
        Flashing(lamp, kind, *_most(found[kind][lamp], reach))
        for lamp in range(len(dark))
        for kind in kinds
    ]


class _Changes:
    """The changes of one kind, found frame by frame, of all lamps at once.

    For both kinds, a change is far enough where ``far`` says so and one of its states is marked: of two
    states that differ in luminance, the darker one is below 0.8 just where either is.
    """

    def __init__(
        self,
        dark: Colours,
        light: str,
        measure: Callable[[Colours, str], tuple[Floats, Flags]],
        far: Callable[[Floats], Any],
    ) -> None:
        self._light, self._measure, self._far = light, measure, far
        self._before, marked = measure(dark, light)
        # Row 0: of any state since the last change; row 1: of the marked ones.
        self._low = _rows(self._before, marked, np.inf)
        self._high = _rows(self._before, marked, -np.inf)
        self._way = np.zeros(len(dark), dtype=np.int8)
        self._found: list[tuple[int, Ints]] = []

    def take(self, now: int, frame: Colours) -> None:
        """Take the frame that the lamps show from a tick on."""
        value, marked = self._measure(frame, self._light)
        up, down = self._far(value - self._low), self._far(self._high - value)
        rise = (up[1] | up[0] & marked) & (self._way <= 0)
        fall = (down[1] | down[0] & marked) & (self._way >= 0)
        fall &= ~rise | (value < self._before)
        self._way[rise], self._way[fall] = 1, -1  # fall second: where both are left, it is a fall
        new = rise | fall
        low, high = _rows(value, marked, np.inf), _rows(value, marked, -np.inf)
        self._low = np.where(new, low, np.minimum(low, self._low))
        self._high = np.where(new, high, np.maximum(high, self._high))
        self._before = value
        self._found.append((now, np.flatnonzero(new)))

    def ticks(self) -> list[Ints]:
        """Return the ticks in which each lamp's changes count."""
        lamps = np.concatenate([np.zeros(0, np.int64), *(where for _, where in self._found)])
        ticks = np.repeat(
            np.array([now for now, _ in self._found], dtype=np.int64),
            [len(where) for _, where in self._found],
        )
        order = np.argsort(lamps, kind="stable")
        return np.split(ticks[order], np.searchsorted(lamps[order], np.arange(1, len(self._way))))


def _rows(value: Floats, marked: Flags, other: float) -> Floats:
    return np.stack((value, np.where(marked, value, other)))


def _most(ticks: Ints, reach: int) -> tuple[int, int, int]:
    """Return the most flashes within ``reach`` ticks, and where the first so many begin and end."""
    since = (ticks - ticks[:1]).astype(np.uint64)  # two ticks differ by less than 2^64
    until = since + np.minimum(since[-1:] - since, np.uint64(reach))
    ends = np.searchsorted(since, until, side="right")
    flashes = (ends - np.arange(len(ticks))) // 2
    most = int(flashes.max(initial=0))
    if not most:
        return 0, -1, -1
    first = int(np.argmax(flashes))
    return most, int(ticks[first]), int(ticks[first + 2 * most - 1])
