"""What single-wire, pulse-coded lamps ask of their line, as data.

A bit is a pulse: its high time says whether it is a zero or a one, and the low after it ends it. A long
low, the latch gap, ends a frame. No single timing suits every part, so that each set of windows is a
named profile, with its source. All times are nanoseconds, exact.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from busbox.basics.errors import InputError, Mistake, format_value, join_or, nearest
from busbox.basics.keys import Key
from busbox.basics.units import parse_current, parse_span, without_subject

#: The windows of a profile, in words.
WINDOWS: Mapping[str, str] = {
    "zero_high": "high of a zero",
    "one_high": "high of a one",
    "zero_low": "low after a zero",
    "one_low": "low after a one",
    "gap": "latch gap",
}
_TIMES = "a list of the shortest and the longest time, or of the shortest alone"
#: The keys of ``[profile.NAME]``.
KEYS: Mapping[str, Key] = {
    **{
        name: Key(f"Window of the {words}.", _TIMES, example, required=True)
        for (name, words), example in zip(
            WINDOWS.items(),
            ("['220 ns', '380 ns']", "['580 ns', '1 us']", "['580 ns', '1 us']",
             "['220 ns', '420 ns']", ""),
            strict=True,
        )
    },
    "gap": Key("The shortest latch gap.", "a time with a unit such as ns or us", "'280 us'",
               required=True),
    "order": Key("The channels in their order on the wire.",
                 "each of the letters RGB or each of RGBW once", "'RGB'", default="'GRB'"),
    "source": Key("Where the values come from.", "a string", "'measured on our string'",
                  default="none given"),
    "channel_current": Key("Current of one channel at full light.", "a number with A, mA or uA",
                           "'16 mA'", default="'20 mA'"),
}  # fmt: skip
#: Amperes of one channel at full light. Source: common practice, 16 to 20 mA a channel, about 60 mA for
#: red, green and blue together.
CHANNEL_CURRENT = Fraction(20, 1000)
#: The letters of the channels that an order may hold, by their number.
CHANNELS: Mapping[int, str] = {3: "RGB", 4: "RGBW"}


@dataclass(frozen=True)
class Window:
    """A range of times.

    Attributes
    ----------
    least : nanoseconds, the shortest time of the window
    most : nanoseconds, the longest; None if the window has no upper end
    beyond : whether a time must be longer than ``least``; otherwise ``least`` itself belongs to it

    Raises
    ------
    ValueError : ``least`` is not above 0, or ``most`` is below it
    """

    least: Fraction
    most: Fraction | None = None
    beyond: bool = False

    def __post_init__(self) -> None:
        if self.least <= 0:
            raise ValueError(f"the shortest time must be above 0 ns, not {show_ns(self.least)}")
        if self.most is not None and self.most < self.least:
            raise ValueError(
                f"the longest time must be at least the shortest, {show_ns(self.least)}, "
                f"not {show_ns(self.most)}"
            )

    def counts(
        self, tick: Fraction, wider: Fraction = Fraction(0)
    ) -> tuple[int, int | None] | None:
        """Return the fewest and the most whole ticks inside the window, or None if no count is.

        Parameters
        ----------
        tick : nanoseconds a tick lasts
        wider : nanoseconds by which the window is wider at each end (negative: narrower)
        """
        start = (self.least - wider) / tick
        fewest = max(0, math.floor(start) + 1 if self.beyond else math.ceil(start))
        if self.most is None:
            return fewest, None
        most = math.floor((self.most + wider) / tick)
        return (fewest, most) if fewest <= most else None

    def margin(self, time: Fraction) -> Fraction:
        """Return how far ``time`` is from the nearer end, in ns; below 0: so far outside."""
        below = time - self.least
        return below if self.most is None else min(below, self.most - time)

    def __str__(self) -> str:
        if self.most is None:
            return f"{'>' if self.beyond else '>='} {show_ns(self.least)}"
        if self.least == self.most:
            return show_ns(self.least)
        least, most = show_ns(self.least), show_ns(self.most)
        number, _, unit = least.partition(" ")
        return f"{number if most.endswith(f' {unit}') else least}..{most}"


def show_ns(time: Fraction) -> str:
    """Return a time of so many ns as text, to three decimals; from 10 us on in us, from 10 ms in ms."""
    units = ((10**6, "ms"), (10**3, "us"))
    scale, unit = next((one for one in units if abs(time) >= 10 * one[0]), (1, "ns"))
    text = f"{float(time / scale):.3f}".rstrip("0").rstrip(".")
    return f"{'0' if text == '-0' else text} {unit}"


@dataclass(frozen=True)
class Profile:
    """What one kind of lamp asks of its line.

    Attributes
    ----------
    name : e.g. ``P1``
    zero_high, one_high : windows of the high time of a zero and of a one
    zero_low, one_low : windows of the low time after a zero and after a one
    gap : the low that ends a frame; it has no upper end
    order : the channels in their order on the wire, for one of the numbers in ``channels``
    channels : the numbers of channels that it is meant for
    channel_bits : bits of a channel, the most significant first
    source : where the values come from, in words
    channel_current : amperes of one channel at full light

    Raises
    ------
    InputError : a window is missing an end that it needs, or two of them cannot be told apart; all
        mistakes at once, each with the name of its window
    """

    name: str
    zero_high: Window
    one_high: Window
    zero_low: Window
    one_low: Window
    gap: Window
    order: str = "GRB"
    channels: tuple[int, ...] = (3,)
    channel_bits: int = 8
    source: str = "none given"
    channel_current: Fraction = CHANNEL_CURRENT

    def __post_init__(self) -> None:
        mistakes = [Mistake(text, self.name, key=key) for key, text in self._mistakes()]
        if mistakes:
            raise InputError(mistakes)

    def _mistakes(self) -> list[tuple[str, str]]:
        found = []
        if self.zero_high.most is None:
            found.append(("zero_high", "must have a longest time: a longer high is a one"))
        elif self.zero_high.most >= self.one_high.least:
            found.append((
                "one_high",
                f"must begin after the longest high of a zero, {show_ns(self.zero_high.most)}, "
                f"not at {show_ns(self.one_high.least)}",
            ))  # fmt: skip
        if self.gap.most is not None:
            found.append(("gap", f"must have no longest time, not {show_ns(self.gap.most)}"))
        for key in ("zero_low", "one_low"):
            window: Window = getattr(self, key)
            end = window.least if window.most is None else window.most
            if end >= self.gap.least:
                text = f"must end before the latch gap, {show_ns(self.gap.least)}"
                found.append((key, f"{text}, not at {show_ns(end)}"))
        if len(self.order) not in self.channels:
            counts = join_or(map(str, self.channels))
            found.append(("order", f"must hold {counts} letters, not {format_value(self.order)}"))
        return found

    @classmethod
    def of(cls, name: str, keys: Mapping[str, Any]) -> Profile:
        """Return a profile made of keys, as a bench holds them.

        Keys
        ----
        zero_high, one_high, zero_low, one_low : ``["220 ns", "380 ns"]``: shortest and longest time;
            ``["850 ns"]`` has no longest
        gap : ``"280 us"``: the shortest latch gap
        order : ``"GRB"`` (default), or the four letters RGBW in their order
        source : where the values come from (a text that may be left out)
        channel_current : ``"16 mA"``: of one channel at full light (default 20 mA)

        Raises
        ------
        InputError : a key is unknown, missing or no time; or as for the class; all mistakes at once
        """
        known = tuple(KEYS)
        mistakes = [
            Mistake(f"is no key of a profile{nearest(key, known)} (known: {join_or(known)})", name,
                    key=key)
            for key in keys if key not in known
        ]  # fmt: skip
        values: dict[str, Any] = {}
        for key in known:
            try:
                if key in keys:
                    values[key] = _READ.get(key, _window)(keys[key])
                elif KEYS[key].required:
                    raise ValueError("must be given")
            except ValueError as error:
                mistakes.append(Mistake(without_subject(error), name, key=key))
        if mistakes:
            raise InputError(mistakes)
        return cls(name, **values, channels=(len(values.get("order", "GRB")),))

    @property
    def windows(self) -> dict[str, Window]:
        """The windows by their names in :data:`WINDOWS`."""
        return {key: getattr(self, key) for key in WINDOWS}

    @property
    def colours(self) -> bool:
        """Whether colours are made of its bits: those of 8 bits a channel; others are judged only."""
        return self.channel_bits == 8

    def order_for(self, channels: int) -> str:
        """Return the order on the wire of so many channels; white is the last of four, if not told.

        Raises
        ------
        ValueError : the number of channels is neither 3 nor 4
        """
        if channels not in CHANNELS:
            raise ValueError(f"channels must be {join_or(map(str, CHANNELS))}, not {channels!r}")
        if len(self.order) == channels:
            return self.order
        # White behind the others: common practice, no source.
        return self.order + "W" if channels == 4 else self.order.replace("W", "")


def _time(value: object) -> Fraction:
    try:
        seconds = parse_span(value).seconds
    except ValueError:
        seconds = None
    if seconds is None:
        raise ValueError(f"must be a time with a unit such as ns or us, not {format_value(value)}")
    return seconds * 10**9


def _window(value: object) -> Window:
    if not isinstance(value, list | tuple) or len(value) not in (1, 2):
        raise ValueError(f"must be {_TIMES}, not {format_value(value)}")
    least, *most = (_time(one) for one in value)
    return Window(least, most[0] if most else None)


def _order(value: object) -> str:
    if isinstance(value, str) and "".join(sorted(value)) in ("BGR", "BGRW"):
        return value
    raise ValueError(
        f"must hold each of the letters RGB or each of RGBW once, not {format_value(value)}"
    )


def _source(value: object) -> str:
    if isinstance(value, str):
        return value
    raise ValueError(f"must be a string, not {format_value(value)}")


_READ: Mapping[str, Any] = {
    "gap": lambda value: Window(_time(value)),
    "order": _order,
    "source": _source,
    "channel_current": parse_current,
}


def _around(centre: int, by: int) -> Window:
    return Window(Fraction(centre - by), Fraction(centre + by))


def _from(least: int, most: int | None = None, beyond: bool = False) -> Window:
    return Window(Fraction(least), None if most is None else Fraction(most), beyond)


#: The profiles that come with Busbox, by name. A single value without a tolerance, as P5 has, is a
#: window of just this time; its latch gap, a single value too, is the shortest.
PROFILES: Mapping[str, Profile] = {
    one.name: one
    for one in (
        Profile(
            "P1", _around(350, 150), _around(700, 150), _around(800, 150), _around(600, 150),
            _from(200_000, beyond=True),
            source="application brief SCLA084 (Oct 2025), table 2-1",
        ),
        Profile(
            "P2", _from(220, 380), _from(580, 1000), _from(580, 1000), _from(580, 1000),
            _from(280_000, beyond=True),
            source="Microchip online documentation, single-wire LED application note "
                   "(GUID-F71DC860), table 1-1",
        ),
        Profile(
            "P3", _from(220, 380), _from(580, 1600), _from(580, 1600), _from(220, 420),
            _from(280_000, beyond=True),
            source="datasheet document 104020171, pages 3-4", channel_current=Fraction(16, 1000),
        ),
        Profile(
            "P4", _around(400, 150), _around(800, 150), _around(850, 150), _around(450, 150),
            _from(50_000, beyond=True),
            channels=(3, 4),
            source="common practice, no source",
        ),
        Profile(
            "P5", _around(400, 0), _around(850, 0), _from(850), _from(400), _from(48_000),
            order="RGBW", channels=(4,), channel_bits=16,
            source="driver data page UCS8904B",
        ),
    )
}  # fmt: skip
