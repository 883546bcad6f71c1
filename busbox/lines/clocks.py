"""Which cycle counts meet a profile, and the best of them.

A sender counts clock cycles: for a zero's high, a one's high, a bit and the latch gap. With one bit
period for both kinds of bit, the low after a bit is the period less its high.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from busbox.lines.profiles import WINDOWS, Profile, Window, show_ns

#: The fewest and the most whole counts inside a window; None for the most if there is no end.
Counts = tuple[int, int | None]


@dataclass(frozen=True)
class Choice:
    """Cycle counts of a sender with one bit period.

    Attributes
    ----------
    zero_high, one_high : cycles high of a zero and of a one
    period : cycles of a bit
    gap : cycles of the latch gap, after the whole last bit
    margin : nanoseconds from its worst time to the nearer end of that window
    """

    zero_high: int
    one_high: int
    period: int
    gap: int
    margin: Fraction


@dataclass(frozen=True)
class Fit:
    """What a clock allows for a profile, or for several together.

    Attributes
    ----------
    windows : by the names of :data:`busbox.lines.profiles.WINDOWS`; None for an empty one
    counts : the whole counts inside each window; None where there are none
    choice : the choice whose worst margin is the largest; None if there is none
    why : why there is none, one sentence for each reason
    """

    windows: Mapping[str, Window | None]
    counts: Mapping[str, Counts | None]
    choice: Choice | None
    why: tuple[str, ...]


def fit(profile: Profile, clock_hz: int) -> Fit:
    """Return what a clock allows for a profile.

    Raises
    ------
    ValueError : ``clock_hz`` is less than 1
    """
    return _fit(profile.windows, clock_hz, {})


def fit_all(profiles: Sequence[Profile], clock_hz: int) -> Fit:
    """Return what a clock allows for all of the profiles with one timing.

    Raises
    ------
    ValueError : there is no profile, or ``clock_hz`` is less than 1
    """
    if not profiles:
        raise ValueError("profiles must be at least one, not none")
    windows: dict[str, Window | None] = {}
    clashes: dict[str, str] = {}
    for key in WINDOWS:
        windows[key] = _common([one.windows[key] for one in profiles])
        if windows[key] is None:
            clashes[key] = _clash(key, profiles)
    return _fit(windows, clock_hz, clashes)


def _common(windows: Sequence[Window]) -> Window | None:
    """Return what lies in all of the windows, or None if nothing does."""
    least = max(one.least for one in windows)
    beyond = any(one.beyond for one in windows if one.least == least)
    ends = [one.most for one in windows if one.most is not None]
    most = min(ends) if ends else None
    if most is not None and (most < least or (beyond and most == least)):
        return None
    return Window(least, most, beyond)


def _clash(key: str, profiles: Sequence[Profile]) -> str:
    """Return which profiles leave nothing in common of a window."""
    ends = [(one.windows[key].most, one.name) for one in profiles]
    most, first = min((end, name) for end, name in ends if end is not None)
    after = sorted(
        (one.windows[key].least, one.name) for one in profiles if one.windows[key].least >= most
    )
    begins = " and ".join(f"{name} begins at {show_ns(least)}" for least, name in after)
    return f"{WINDOWS[key]}: {first} ends at {show_ns(most)}, {begins}."


def _fit(windows: Mapping[str, Window | None], clock_hz: int, clashes: Mapping[str, str]) -> Fit:
    if clock_hz < 1:
        raise ValueError(f"clock_hz must be at least 1, not {clock_hz}")
    tick = Fraction(10**9, clock_hz)
    known = {key: one for key, one in windows.items() if one is not None}
    counts = {key: None if one is None else one.counts(tick) for key, one in windows.items()}
    why = [
        clashes.get(key) or _no_count(key, windows[key])
        for key, inside in counts.items()
        if inside is None
    ]
    if not why and _periods(known, tick, Fraction(0)) is None:
        why.append(_no_period(counts))
    choice = None if why else _best(known, tick)
    return Fit(windows, counts, choice, tuple(why))


def _no_count(key: str, window: Window | None) -> str:
    """Return why a window has no whole count."""
    assert window is not None
    how = "equals" if window.least == window.most else "lies within"
    return f"{WINDOWS[key]}: no whole number of clock cycles {how} {window}."


def _sum(high: Counts, low: Counts) -> Counts:
    """Return the counts that a bit may take, its high and its low added."""
    return high[0] + low[0], None if high[1] is None or low[1] is None else high[1] + low[1]


def _no_period(counts: Mapping[str, Counts | None]) -> str:
    """Return why zeros and ones cannot have one bit period."""
    bits = []
    for bit in ("zero", "one"):
        high, low = counts[f"{bit}_high"], counts[f"{bit}_low"]
        assert high is not None
        assert low is not None
        bits.append(f"a {bit} takes {show_counts(_sum(high, low))} cycles")
    return f"no single bit period exists: {bits[0]}, {bits[1]}."


def show_counts(counts: Counts | None) -> str:
    """Return counts as text: ``4..8``, ``801 or more``, ``none``."""
    if counts is None:
        return "none"
    if counts[1] is None:
        return f"{counts[0]:,} or more"
    return f"{counts[0]:,}" if counts[0] == counts[1] else f"{counts[0]:,}..{counts[1]:,}"


#: The four windows of a bit.
_BIT = ("zero_high", "one_high", "zero_low", "one_low")


def _inset(
    windows: Mapping[str, Window], tick: Fraction, margin: Fraction
) -> dict[str, Counts] | None:
    """Return the counts with a margin to each end of the four windows; None if one is empty."""
    found = {}
    for key in _BIT:
        inside = windows[key].counts(tick, -margin)
        if inside is None:
            return None
        found[key] = inside
    return found


def _periods(windows: Mapping[str, Window], tick: Fraction, margin: Fraction) -> Counts | None:
    """Return the bit periods that give both kinds of bit a margin, or None."""
    inside = _inset(windows, tick, margin)
    if inside is None:
        return None
    both = [_sum(inside[f"{bit}_high"], inside[f"{bit}_low"]) for bit in ("zero", "one")]
    ends = [end for _, end in both if end is not None]
    fewest, most = max(start for start, _ in both), min(ends) if ends else None
    return None if most is not None and most < fewest else (fewest, most)


def _best(windows: Mapping[str, Window], tick: Fraction) -> Choice:
    """Return the choice with the largest worst margin; of such, the one with the shortest bit period.

    Every margin is a multiple of one small fraction: that of the clock and of all ends of windows. The
    largest that still leaves a period is searched for by halving.
    """
    margin = _largest_margin(windows, tick)
    inside, periods = _inset(windows, tick, margin), _periods(windows, tick, margin)
    gap = windows["gap"].counts(tick)
    assert inside is not None
    assert periods is not None
    assert gap is not None
    clear = math.ceil((windows["gap"].least + margin) / tick)  # the gap has the margin too
    period = periods[0]
    zero, one = (
        _centred(windows[f"{bit}_high"], tick, inside[f"{bit}_high"], inside[f"{bit}_low"], period)
        for bit in ("zero", "one")
    )
    return Choice(zero, one, period, max(gap[0], clear), margin)


def _largest_margin(windows: Mapping[str, Window], tick: Fraction) -> Fraction:
    ends = [end for one in windows.values() for end in (one.least, one.most) if end is not None]
    step = Fraction(1, math.lcm(tick.denominator, *(end.denominator for end in ends)))
    zero = windows["zero_high"]
    assert zero.most is not None
    good, bad = 0, math.floor((zero.most - zero.least) / step) + 1
    while bad - good > 1:
        middle = (good + bad) // 2
        if _periods(windows, tick, middle * step) is None:
            bad = middle
        else:
            good = middle
    return good * step


def _centred(window: Window, tick: Fraction, high: Counts, low: Counts, period: int) -> int:
    """Return the high count nearest to the middle of its window that leaves a low count allowed."""
    fewest = high[0] if low[1] is None else max(high[0], period - low[1])
    most = period - low[0] if high[1] is None else min(high[1], period - low[0])
    end = window.least if window.most is None else window.most
    middle = (window.least + end) / (2 * tick)
    return min(max(math.ceil(middle - Fraction(1, 2)), fewest), most)
