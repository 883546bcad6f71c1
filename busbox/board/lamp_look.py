"""One look at a lamp line: by which profile it is read, its frames and verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.board.attachment import LineReport
from busbox.board.lamp_rows import Rows
from busbox.board.lamp_troubles import Troubles
from busbox.board.light import flashing
from busbox.board.supply import Supply, currents, supply
from busbox.lines.bits import SHIFTS
from busbox.lines.colour import Colours
from busbox.lines.lamps import Judgement
from busbox.lines.profiles import CHANNELS, show_ns
from busbox.lines.wave import Wave

if TYPE_CHECKING:
    from busbox.board.lamp_string import LampString


#: Failing times that are listed for programs, of each profile.
LISTED = 20


class Look:
    """What one look at a line finds.

    ``read`` is the judgement by whose profile the line is read; ``wrong`` tells whether it is broken.
    """

    def __init__(self, string: LampString, wave: Wave, judged: Mapping[str, Judgement]) -> None:
        self.string, self.wave, self.judged = string, wave, judged
        self.kept = [name for name, one in judged.items() if one.passes]
        self.name = self._reading()
        self.read = judged[self.name]
        self.wrong = not self.kept
        self.unit = "samples" if wave.sampling else "clocks"
        self.latched: list[int] = np.flatnonzero(self.read.frames.latched).tolist()
        self.shows = self.read.frames.shows[self.latched]
        self.colours = self._shown()
        self.amperes = string.amperes or self.read.profile.channel_current
        self.flashing = flashing(self.shows, self.colours, wave.tick, string.options["light"])

    def _reading(self) -> str:
        """Return the profile to read by.

        Of those that are kept and give colours, the one that latches most frames; of such, the one with
        the widest worst margin. If only one without colours is kept, that one; if none is kept, the
        nearest: with the fewest failures.
        """
        if self.string.options["profile"] is not None:
            return next(iter(self.judged))
        coloured = [name for name, one in self.judged.items() if one.profile.colours and one.meant]
        kept = [name for name in coloured if name in self.kept] or self.kept
        if not kept:
            return min(coloured, key=lambda name: len(self.judged[name].failures))
        return max(kept, key=lambda name: _fit(self.judged[name]))

    def heard(self) -> LineReport:
        """Return all of it, as a listener gives it."""
        frames, shown = self.read.frames, None
        if self.read.profile.colours:
            shown = [
                (int(frames.begin[one]), int(frames.shows[one]), frames.colours_of(one))
                for one in self.latched
            ]
        return LineReport(
            rows=list(Rows(self).rows()),
            facts=self._facts(),
            frames=shown,
            current=self.current,
            findings=sorted(Troubles(self).findings(), key=lambda trouble: trouble.tick),
        )

    def _shown(self) -> Colours:
        """Return what each lamp shows after each latched frame.

        A lamp that took no colour keeps the one before.
        """
        table = np.zeros((len(self.latched), self.string.count), dtype=np.uint32)
        if not self.read.profile.colours:
            return table
        now = np.zeros(self.string.count, dtype=np.uint32)
        for place, number in enumerate(self.latched):
            taken = self.read.frames.colours_of(number)
            now[: len(taken)] = taken
            table[place] = now
        return table

    @cached_property
    def current(self) -> list[tuple[int, Fraction]] | None:
        """(tick, amperes that the string draws from then on), if the lamps have colours."""
        if not self.read.profile.colours:
            return None
        amperes = currents(self.colours, self.string.channels, self.amperes)
        return list(zip(self.shows.tolist(), amperes, strict=True))

    @cached_property
    def supply(self) -> Supply | None:
        """The current of the string over what is known of the line, if the lamps have colours."""
        if not self.read.profile.colours or not len(self.wave.times):
            return None
        begin, end = int(self.wave.times[0]), self.wave.end
        channels = self.string.channels
        return supply(self.shows, self.colours, channels, self.amperes, begin, end)

    def describe(self, tick: int) -> str:
        """Return the bit that a tick is part of, "" before the first."""
        bits, frames = self.read.bits, self.read.frames
        number = int(np.searchsorted(bits.begin, tick, side="right")) - 1
        if number < 0:
            return ""
        frame = int(np.searchsorted(frames.first, number, side="right")) - 1
        lamp, bit = divmod(number - int(frames.first[frame]), frames.lamp_bits)
        high, value = int(bits.high[number]), int(bits.value[number])
        return (
            f"frame {frame}, lamp {lamp}, bit {bit}: a {('zero', 'one')[value]}, high for {high} "
            f"{self.unit} ({show_ns(high * self.wave.tick_ns)})"
        )

    # For programs.

    def _facts(self) -> dict[str, Any]:
        frames, colours = self.read.frames, self._colours(self.read)
        return {
            "profile": self.name if len(self.judged) == 1 or not self.wrong else None,
            "frames": colours,
            "bits": len(self.read.bits.begin),
            "broken": int(np.count_nonzero(frames.broken[frames.latched])),
            "unlatched": int(np.count_nonzero(~frames.latched)),
            "windows": _windows(self.read),
            "verdict": self.verdict(),
            "supply": self._supply_facts(),
            "flashes": {
                kind: max((one.most for one in self.flashing if one.kind == kind), default=0)
                for kind in ("general", "red")
            },
            "profiles": {
                name: self._profile_facts(one, colours) for name, one in self.judged.items()
            },
        }

    def _profile_facts(self, one: Judgement, read: list[list[list[int]]] | None) -> dict[str, Any]:
        """Return what is told of each profile; ``frames`` only where others than ``read`` are read."""
        first = [one.failures.at(place) for place in range(min(len(one.failures), LISTED))]
        facts: dict[str, Any] = {
            "passes": one.passes,
            "failing_bits": len(np.unique(one.failing_bits)),
            "first_failing": [
                {"frame": frame, "lamp": lamp, "bit": bit, "window": key, "ticks": ticks}
                for frame, lamp, bit, key, ticks in first
            ],
            "windows": _windows(one),
        }
        colours = self._colours(one)
        if colours is not None and colours != read:
            facts["frames"] = colours
        return facts

    def _colours(self, one: Judgement) -> list[list[list[int]]] | None:
        """Return the channels of every lamp in every frame that is latched."""
        if not one.profile.colours:
            return None
        latched = np.flatnonzero(one.frames.latched).tolist()
        return [[self._split(lamp) for lamp in one.frames.colours_of(n)] for n in latched]

    def _supply_facts(self) -> dict[str, Any] | None:
        if self.supply is None:
            return None
        return {
            "peak_amperes": float(self.supply.peak),
            "average_amperes": float(self.supply.average),
            "amperes_from": [[tick, float(amperes)] for tick, amperes in self.current or ()],
        }

    def verdict(self) -> str:
        """Return ``passes``, ``fails`` or, where there is nothing to judge, ``no bits``."""
        if not len(self.read.bits.begin):
            return "no bits"
        return "fails" if self.wrong else "passes"

    def _split(self, colour: int) -> list[int]:
        """Return red, green, blue (and white) of a colour."""
        return [colour >> SHIFTS[one] & 0xFF for one in CHANNELS[self.string.channels]]


def _fit(one: Judgement) -> tuple[int, Fraction]:
    """Return how many frames latch, and the worst margin in ticks."""
    margins = [m.margin_ticks for m in one.measures.values() if m.margin_ticks is not None]
    return int(np.count_nonzero(one.frames.latched)), min(margins, default=Fraction(0))


def _windows(one: Judgement) -> dict[str, Any]:
    """Return the measures for programs, in nanoseconds; windows without a time are left out."""

    def number(value: Fraction | None) -> float | None:
        return None if value is None else float(value)

    return {
        key: {
            "count": measure.count,
            "mean_ns": number(measure.mean),
            "min_ns": number(measure.least),
            "max_ns": number(measure.most),
            "worst_margin_ns": number(measure.margin),
            "worst_margin_ticks": number(measure.margin_ticks),
            "outside": measure.failing,
        }
        for key, measure in one.measures.items()
        if measure.count
    }
