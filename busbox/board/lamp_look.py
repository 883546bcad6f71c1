"""One look at a lamp line: frames and verdicts in facts and in words, and what is wrong."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.board.attachment import Heard, Trouble
from busbox.board.bits import Frames, Ints
from busbox.board.colour import Colours
from busbox.board.lamps import Judgement, Measure
from busbox.board.light import FLASHES, Flashing, flashing
from busbox.board.profiles import WINDOWS, show_ns
from busbox.board.supply import Supply, currents, supply
from busbox.board.wave import Wave
from busbox.units import show_current

if TYPE_CHECKING:
    from busbox.board.lamp_string import LampString


#: Failing times that are listed for programs, of each profile.
LISTED = 20
#: If not more than one in so many fails, it is no matter of the sender's counts.
FEW = 3


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
        self.shows = self.read.frames.shows[self.read.frames.latched]
        self.colours = self._shown()
        self.amperes = string.amperes or self.read.profile.channel_current
        self.flashing = flashing(self.shows, self.colours, wave.tick, string.options["light"])

    def _reading(self) -> str:
        """Return the profile to read by.

        Of those that are kept and give colours, the one that latches most frames; of such, the one with
        the widest worst margin. If none is kept, the nearest: with the fewest failures.
        """
        if self.string.options["profile"] is not None:
            return next(iter(self.judged))
        coloured = [name for name, one in self.judged.items() if one.profile.colours and one.meant]
        kept = [name for name in coloured if name in self.kept]
        if not kept:
            return min(coloured, key=lambda name: len(self.judged[name].failures))
        return max(kept, key=lambda name: _fit(self.judged[name]))

    def heard(self) -> Heard:
        frames = self.read.frames
        shown = current = None
        if self.read.profile.colours:
            latched = np.flatnonzero(frames.latched).tolist()
            shown = [
                (int(frames.begin[one]), int(frames.shows[one]), frames.colours_of(one))
                for one in latched
            ]
            amperes = currents(self.colours, self.string.channels, self.amperes)
            current = list(zip(self.shows.tolist(), amperes, strict=True))
        return Heard(
            rows=list(self._rows()),
            facts=self._facts(),
            frames=shown,
            current=current,
            troubles=sorted(self._troubles(), key=lambda trouble: trouble.tick),
        )

    def _shown(self) -> Colours:
        """Return what each lamp shows after each latched frame.

        A lamp that took no colour keeps the one before.
        """
        frames, latched = self.read.frames, np.flatnonzero(self.read.frames.latched)
        table = np.zeros((len(latched), self.string.count), dtype=np.uint32)
        if not self.read.profile.colours:
            return table
        now = np.zeros(self.string.count, dtype=np.uint32)
        for place, number in enumerate(latched.tolist()):
            taken = frames.colours_of(number)
            now[: len(taken)] = taken
            table[place] = now
        return table

    def _supply(self) -> Supply | None:
        """Return the current of the string over what is known of the line, if it has colours."""
        if not self.read.profile.colours or not len(self.wave.times):
            return None
        begin, end = int(self.wave.times[0]), self.wave.end
        channels = self.string.channels
        return supply(self.shows, self.colours, channels, self.amperes, begin, end)

    def point(self, tick: int) -> str:
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
        frames = self.read.frames
        return {
            "profile": self.name if len(self.judged) == 1 or not self.wrong else None,
            "frames": self._colours(self.read),
            "bits": len(self.read.bits.begin),
            "broken": int(np.count_nonzero(frames.broken[frames.latched])),
            "unlatched": int(np.count_nonzero(~frames.latched)),
            "windows": _windows(self.read),
            "verdict": self._verdict(),
            "supply": self._supply_facts(),
            "flashes": {
                kind: max((one.most for one in self.flashing if one.kind == kind), default=0)
                for kind in ("general", "red")
            },
            "profiles": {name: self._profile_facts(one) for name, one in self.judged.items()},
        }

    def _profile_facts(self, one: Judgement) -> dict[str, Any]:
        """Return what is told of each profile; ``frames`` only where others are read by it."""
        first = [one.failures.at(place) for place in range(min(len(one.failures), LISTED))]
        facts: dict[str, Any] = {
            "passes": one.passes,
            "failing_bits": len(np.unique(_bit_numbers(one))),
            "first_failing": [
                {"frame": frame, "lamp": lamp, "bit": bit, "window": key, "ticks": ticks}
                for frame, lamp, bit, key, ticks in first
            ],
            "windows": _windows(one),
        }
        colours = self._colours(one)
        if colours is not None and colours != self._colours(self.read):
            facts["frames"] = colours
        return facts

    def _colours(self, one: Judgement) -> list[list[list[int]]] | None:
        """Return the channels of every lamp in every frame that is latched."""
        if not one.profile.colours:
            return None
        latched = np.flatnonzero(one.frames.latched).tolist()
        return [[self._split(lamp) for lamp in one.frames.colours_of(n)] for n in latched]

    def _supply_facts(self) -> dict[str, Any] | None:
        found = self._supply()
        if found is None:
            return None
        amperes = currents(self.colours, self.string.channels, self.amperes)
        return {
            "peak_amperes": float(found.peak),
            "average_amperes": float(found.average),
            "amperes_from": [
                [tick, float(one)] for tick, one in zip(self.shows.tolist(), amperes, strict=True)
            ],
        }

    def _verdict(self) -> str:
        if not len(self.read.bits.begin):
            return "no bits"
        return "fails" if self.wrong else "passes"

    def _split(self, colour: int) -> list[int]:
        """Return red, green, blue (and white) of a colour."""
        channels = [colour >> shift & 0xFF for shift in (16, 8, 0)]
        return [*channels, colour >> 24] if self.string.channels == 4 else channels

    # For people.

    def _rows(self) -> Iterator[tuple[str, str]]:
        string, frames = self.string, self.read.frames
        order = string.options["order"] or self.read.profile.order_for(string.channels)
        lamps = "1 lamp" if string.count == 1 else f"{string.count:,} lamps"
        yield "read as", f"{lamps}, {string.channels} channels, order {order}"
        if not len(self.read.bits.begin):
            yield "line", "no pulse"
            return
        latched = int(np.count_nonzero(frames.latched))
        yield "frames", f"{latched:,} of {len(self.read.bits.begin):,} bits in all"
        if latched < len(frames):
            yield "", "the last frame was not latched: the line ends before the gap is long enough"
        if len(self.judged) == 1:
            yield "profile", f"{self.name} ({self.read.profile.source}): {self._verdict()}"
            yield from self._windows_in_words(self.read)
        else:
            yield from self._table()
        yield from self._safety()

    def _safety(self) -> Iterator[tuple[str, str]]:
        """Yield current and flashes, with the caution."""
        found = self._supply()
        if found is not None and found.peak:
            peak, average = show_current(found.peak), show_current(found.average)
            how = f"peak {peak}, average {average}, at {show_current(self.amperes)} a channel"
            yield "current", f"{how}; feed the string from its own supply, fused and sized for it"
        worst = max(self.flashing, key=lambda one: one.most, default=None)
        if worst is not None and worst.most:
            yield (
                "flashes",
                (
                    f"{worst.most} in a second at most (lamp {worst.lamp}, {worst.kind}); more than "
                    f"{FLASHES} can cause seizures"
                ),
            )

    def _table(self) -> Iterator[tuple[str, str]]:
        """Yield a row for each profile."""
        for name, one in self.judged.items():
            if not one.meant:
                text = f"not meant for {self.string.channels} channels"
            elif one.passes:
                text = self._worst(one)
            else:
                key = self._first_wrong(one)
                text = self._in_words(key, one.measures[key])
            latched = int(np.count_nonzero(one.frames.latched))
            if one.meant and latched != np.count_nonzero(self.read.frames.latched):
                text += f"; {latched:,} frames latched"
            yield name, f"{'passes' if one.passes else 'fails'}: {text}"

    def _worst(self, one: Judgement) -> str:
        known = [(m.margin, key) for key, m in one.measures.items() if m.margin is not None]
        key = min(known)[1]
        return f"worst margin {self._margin(one.measures[key])}, {WINDOWS[key]}"

    def _margin(self, measure: Measure) -> str:
        assert measure.margin is not None
        assert measure.margin_ticks is not None
        unit = self.unit.removesuffix("s") if abs(measure.margin_ticks) == 1 else self.unit
        return f"{show_ns(measure.margin)} ({float(measure.margin_ticks):.4g} {unit})"

    def _windows_in_words(self, one: Judgement) -> Iterator[tuple[str, str]]:
        for key, measure in one.measures.items():
            if measure.count:
                yield WINDOWS[key], f"{self._in_words(key, measure, named=False)}"

    def _in_words(self, key: str, measure: Measure, named: bool = True) -> str:
        assert measure.least is not None
        assert measure.most is not None
        times = show_ns(measure.least)
        if measure.most != measure.least:
            assert measure.mean is not None
            times += f" to {show_ns(measure.most)}, mean {show_ns(measure.mean)}"
        name = f"{WINDOWS[key]} " if named else ""
        wrong = f", {measure.failing:,} of {measure.count:,} outside" if measure.failing else ""
        wrong += ", the mean lies outside" if measure.mean_outside else ""
        return (
            f"{name}{times}, allowed {measure.window}: worst margin {self._margin(measure)}{wrong}"
        )

    @staticmethod
    def _first_wrong(one: Judgement) -> str:
        measures = one.measures
        return max(measures, key=lambda key: (measures[key].failing, measures[key].mean_outside))

    # What is wrong.

    def _troubles(self) -> Iterator[Trouble]:
        if self.wrong and self.read.failures:
            yield from self._timing() if len(self.judged) == 1 else [self._nearest()]
        frames = self.read.frames
        for number in np.flatnonzero(frames.latched & (frames.broken > 0)).tolist():
            tell = partial(self._tell_broken, number)
            edge = int(frames.begin[number])
            yield Trouble("broken-bit-count", int(frames.shows[number]), tell, edge)
        for one in self.flashing:
            if not one.passes:
                yield Trouble("flash-rate", one.end, partial(self._tell_flash, one), part=one.kind)

    def _timing(self) -> Iterator[Trouble]:
        """Yield every time outside its window."""
        numbers = _bit_numbers(self.read)
        keys = list(WINDOWS)
        for place, (number, window) in enumerate(
            zip(numbers.tolist(), self.read.failures.window.tolist(), strict=True)
        ):
            yield self._trouble(number, keys[window], partial(self._tell_time, place))

    def _nearest(self) -> Trouble:
        """Return the first failure of the profile that is the nearest."""
        number = int(_bit_numbers(self.read)[0])
        key = list(WINDOWS)[int(self.read.failures.window[0])]
        return self._trouble(number, key, self._tell_none)

    def _trouble(self, number: int, key: str, tell: Any) -> Trouble:
        bits = self.read.bits
        rise, high, low = (int(column[number]) for column in (bits.begin, bits.high, bits.low))
        edges = {"zero_high": rise + high, "one_high": rise + high}
        tick = edges.get(key, rise + high + low)
        rule = "latch-gap" if key == "gap" else "pulse-width"
        return Trouble(rule, tick, tell, part=key)

    def _tell_time(self, place: int) -> tuple[str, str]:
        message = self._failure(place)
        return f"{message[0].upper()}{message[1:]}.", self._hint(place)

    def _failure(self, place: int) -> str:
        """Return a failure in words."""
        frame, lamp, bit, key, ticks = self.read.failures.at(place)
        time = f"{ticks} {self.unit} ({show_ns(ticks * self.wave.tick_ns)})"
        allowed = f"{self.name} allows {self.read.profile.windows[key]}"
        if key == "gap":
            return (
                f"the latch gap behind frame {frame} lasts {time}, so that the lamps take what follows "
                f"for the same frame; {allowed}"
            )
        where = f"frame {frame}, lamp {lamp}, bit {bit}"
        return f"the {WINDOWS[key]} in {where} lasts {time}; {allowed}"

    def _hint(self, place: int) -> str:
        key = self.read.failures.at(place)[3]
        if self.wave.sampling:
            return (
                "Look at the sender's clock and counts: busbox timing CLOCK tells which counts fit."
            )
        measure = self.read.measures[key]
        if key != "gap" and FEW * measure.failing <= measure.count:
            return (
                "Most are as they should be: look for what comes in between, an interrupt or a longer "
                "way through a loop (busbox why tells it)."
            )
        inside = self.read.profile.windows[key].counts(self.wave.tick_ns)
        clock = f"at this clock {self.name} allows"
        if inside is None:
            return f"No whole number of clocks fits {self.name} here: take another clock."
        if inside[1] is None:
            return f"Let it last longer: {clock} {inside[0]:,} clocks or more."
        return f"Change the counts of the sender: {clock} {inside[0]} to {inside[1]} clocks."

    def _tell_none(self) -> tuple[str, str]:
        bits = len(np.unique(_bit_numbers(self.read)))
        return (
            f"No profile is kept; {self.name} is the nearest: {self._failure(0)} ({bits:,} of "
            f"{len(self.read.bits.begin):,} bits fail).",
            f"{self._hint(0)} The summary shows every profile; profile = NAME judges by one.",
        )

    def _tell_broken(self, number: int) -> tuple[str, str]:
        frames: Frames = self.read.frames
        bits, one = int(frames.bits[number]), frames.lamp_bits
        lamps, over = divmod(bits, one)
        if 2 * over <= one:
            what = f"{over} beyond {lamps} whole {'lamp' if lamps == 1 else 'lamps'}"
        else:
            what = f"{one - over} short of {lamps + 1} whole {'lamps' if lamps else 'lamp'}"
        return (
            f"Frame {number} has {bits:,} bits, {what} of {one} bits each: a chain is a bit too long "
            "or too short, and lamps show other colours than those sent.",
            "Look for a pulse that was lost or cut: a reset in the frame, a gap inside it, a loop that "
            "ends too early.",
        )

    def _tell_flash(self, one: Flashing) -> tuple[str, str]:
        moment = "sample" if self.wave.sampling else "cycle"
        return (
            f"Lamp {one.lamp} flashes {one.most} times in a second, from {moment} {one.start} to "
            f"{one.end} ({one.kind} flashes, WCAG 2.2, success criterion 2.3.1); three are allowed.",
            "Let it blink more slowly, or change less. Flashing light can cause seizures; local codes "
            "and licensed practice decide.",
        )


def _fit(one: Judgement) -> tuple[int, Fraction]:
    """Return how many frames latch, and the worst margin in ticks."""
    margins = [m.margin_ticks for m in one.measures.values() if m.margin_ticks is not None]
    return int(np.count_nonzero(one.frames.latched)), min(margins, default=Fraction(0))


def _bit_numbers(one: Judgement) -> Ints:
    """Return the number of the bit, from the first of the wave, of every failure."""
    failures, frames = one.failures, one.frames
    first = frames.first[failures.frame] if len(failures) else failures.frame
    numbers: Ints = first + failures.lamp * frames.lamp_bits + failures.bit
    return numbers


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
