"""A string of lamps on a single-wire line: what each shows, and how the line keeps its times."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import partial
from typing import Any

import numpy as np

from busbox.board.attachment import Board, Heard, Listener, Trouble
from busbox.board.bits import Frames, Ints
from busbox.board.lamps import Judgement, Measure, judge
from busbox.board.profiles import CHANNELS, PROFILES, WINDOWS, Profile, show_ns
from busbox.board.wave import Wave
from busbox.device import REQUIRED, Setting
from busbox.errors import nearest, one_of
from busbox.units import parse_current

#: Amperes of one channel at full light, where neither setting nor profile says it. Source: common
#: practice, 16 to 20 mA a channel, about 60 mA for red, green and blue together.
CHANNEL_AMPERES = Fraction(20, 1000)


class LampString(Listener):
    """Takes bits, frames and colours from a line as the lamps would, and judges every time of it.

    With a ``profile`` it is judged by that one. Without, all profiles are tried: a finding is raised
    only if none is kept, since a board that works must not be called broken; colours are those that
    the first profile that is kept would give, else the nearest.

    Caution
    -------
    A long string draws more current than a board's pin or regulator can give: about 60 mA for each
    lamp at full white (common practice). Feed it from its own supply, fused and sized for it. A 3.3 V
    pin is below the input level of a 5 V string (0.7 of its supply, document 104020171). Flashing
    light can harm people. Local codes and licensed practice decide.
    """

    settings = (
        Setting("count", REQUIRED, low=1, high=65_536, text="Lamps of the string."),
        Setting("channels", 3, low=3, high=4, text="Colour channels of a lamp."),
        Setting("order", None, kind="text",
                text="Channels in their order on the wire, such as GRB; else that of the profile."),
        Setting("profile", None, kind="text",
                text="P1 to P5, or a [profile.NAME] of the bench; else all are tried."),
        Setting("channel_current", None, kind="current",
                text="Current of a channel at full light; else that of the profile, or 20 mA."),
        Setting("light", "linear", kind="text", choices=("linear", "srgb"),
                text="How a value becomes light: its share of the time (linear), or as on a screen."),
    )  # fmt: skip
    sends = ("frames",)

    def __init__(self, board: Board, **settings: Any) -> None:
        super().__init__(board, **settings)
        self.count: int = settings["count"]
        self.channels: int = settings["channels"]
        self.profiles = self._chosen(settings["profile"])
        for profile in self.profiles.values() if settings["profile"] else ():
            if self.channels not in profile.channels:
                meant = one_of(map(str, profile.channels))
                raise ValueError(
                    f"channels must be {meant} for profile {profile.name}, not {self.channels}"
                )
        order, letters = settings["order"], CHANNELS[self.channels]
        if order is not None and sorted(order) != sorted(letters):
            raise ValueError(
                f"order must hold each of the letters {letters} once for {self.channels} channels, "
                f"not {order!r}"
            )
        given = settings["channel_current"]
        self.amperes = None if given is None else parse_current(given)

    def _chosen(self, name: str | None) -> Mapping[str, Profile]:
        if name is None:
            return PROFILES
        if name not in self.board.profiles:
            known = list(self.board.profiles)
            raise ValueError(f"profile must be {one_of(known)}, not {name!r}{nearest(name, known)}")
        return {name: self.board.profiles[name]}

    def listen(self, wave: Wave) -> Heard:
        """Return what the lamps show, and how the line keeps the profiles."""
        return _Look(self, wave, self._judged(wave)).heard()

    def _judged(self, wave: Wave) -> dict[str, Judgement]:
        return {
            name: judge(wave, one, self.count, self.channels, self.options["order"])
            for name, one in self.profiles.items()
        }

    def point(self, wave: Wave, tick: int) -> str:
        """Return the bit that a tick is part of."""
        return _Look(self, wave, self._judged(wave)).point(tick)


class _Look:
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

    def _reading(self) -> str:
        """Return the profile to read by: the first that is kept and gives colours, else the nearest."""
        if self.string.options["profile"] is not None:
            return next(iter(self.judged))
        coloured = [name for name, one in self.judged.items() if one.profile.colours]
        for name in coloured:
            if name in self.kept:
                return name
        meant = [name for name in coloured if self.judged[name].meant]
        return min(meant, key=lambda name: len(self.judged[name].failures))

    def heard(self) -> Heard:
        frames = self.read.frames
        told = [number for number in range(len(frames)) if frames.latched[number]]
        shown = None
        if self.read.profile.colours:
            shown = [(int(frames.begin[one]), frames.colours_of(one)) for one in told]
        return Heard(
            rows=list(self._rows()),
            facts=self._facts(),
            frames=shown,
            troubles=sorted(self._troubles(), key=lambda trouble: trouble.tick),
        )

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
        colours = None
        if self.read.profile.colours:
            latched = np.flatnonzero(frames.latched).tolist()
            colours = [[self._split(one) for one in frames.colours_of(n)] for n in latched]
        return {
            "profile": self.name if len(self.judged) == 1 or not self.wrong else None,
            "frames": colours,
            "bits": len(self.read.bits.begin),
            "broken": int(np.count_nonzero(frames.broken[frames.latched])),
            "unlatched": int(np.count_nonzero(~frames.latched)),
            "windows": _windows(self.read),
            "verdict": self._verdict(),
            "profiles": {
                name: {
                    "passes": one.passes,
                    "failing_bits": len(np.unique(_bit_numbers(one))),
                    "windows": _windows(one),
                }
                for name, one in self.judged.items()
            },
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
        latched = int(np.count_nonzero(frames.latched))
        yield "frames", f"{latched:,} of {len(self.read.bits.begin):,} bits in all"
        if latched < len(frames):
            yield "", "the last frame was not latched: the line ends before the gap is long enough"
        if len(self.judged) == 1:
            yield "profile", f"{self.name} ({self.read.profile.source}): {self._verdict()}"
            yield from self._windows_in_words(self.read)
        else:
            yield from self._table()

    def _table(self) -> Iterator[tuple[str, str]]:
        """Yield a row for each profile."""
        for name, one in self.judged.items():
            if not one.meant:
                text = f"not meant for {self.string.channels} channels"
            elif one.passes:
                text = self._worst(one) or "nothing to judge"
            else:
                key = self._first_wrong(one)
                text = self._in_words(key, one.measures[key])
            yield name, f"{'passes' if one.passes else 'fails'}: {text}"

    def _worst(self, one: Judgement) -> str:
        known = [(m.margin, key) for key, m in one.measures.items() if m.margin is not None]
        if not known:
            return ""
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
        where = f"frame {frame}, lamp {lamp}, bit {bit}"
        what = (
            f"the {WINDOWS[key]} lasts {ticks} {self.unit} ({show_ns(ticks * self.wave.tick_ns)})"
        )
        if key == "gap":
            where = f"behind frame {frame}"
            what += ", so that the lamps take what follows for the same frame"
        return f"{what} ({where}); {self.name} allows {self.read.profile.windows[key]}"

    def _hint(self, place: int) -> str:
        key = self.read.failures.at(place)[3]
        if self.wave.sampling:
            return (
                "Look at the sender's clock and counts: busbox timing CLOCK tells which counts fit."
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
