"""The current that a string of lamps takes from its supply, over time.

Feed a string from its own supply, fused, never from a board's pin beyond a few LEDs. These are values
of a plan, not of an installation: local codes and licensed practice decide.

Rules
=====
1. The current of a lamp is the sum, over its channels, of value / 255 x the current of a lit channel.
2. It is the mean over the lamp's own modulation. In a moment in which all of its channels are lit, a
   lamp takes the current of full values.
3. The quiescent current of the lamps' chips is not counted: a dark lamp takes none here.
4. Before the first frame the lamps are dark.

A fully lit channel takes 16 mA by datasheet document 104020171, and 16 to 20 mA by common practice:
about 60 mA an RGB LED at full white and 5 V. The rules are our own.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from busbox.basics.errors import format_value, join_or
from busbox.lines.bits import SHIFTS, Ints
from busbox.lines.colour import Colours, check_shown
from busbox.lines.profiles import CHANNELS


@dataclass(frozen=True)
class Supply:
    """The current of a string over a range of ticks, exact.

    Attributes
    ----------
    peak : amperes, the highest in the range
    peak_at : the first tick of the range with that current
    average : amperes, over all ticks of the range
    lamps : how many the string has
    """

    peak: Fraction
    peak_at: int
    average: Fraction
    lamps: int


def supply(
    shows: Ints, colours: Colours, channels: int, channel_amps: Fraction, begin: int, end: int
) -> Supply:
    """Return the peak and the average current of a string of lamps.

    Parameters
    ----------
    shows : ticks, strictly rising; a frame that the lamps never show must be left out. Frames may lie
        outside the range: the last one before it lights its first ticks
    colours : what each lamp shows from ``shows[f]`` on, 0xRRGGBB or 0xWWRRGGBB, frames x lamps
    channels : colour channels of a lamp, 3 or 4
    channel_amps : amperes of one channel that is fully lit
    begin : the first tick of the range
    end : the tick after its last one

    Raises
    ------
    ValueError : the columns are not as said, the range holds no tick; or as for :func:`currents`
    """
    check_shown(shows, colours)
    if end <= begin:
        raise ValueError(f"end must be after begin, tick {begin}, not {end}")
    starts = [begin, *(min(max(tick, begin), end) for tick in shows.tolist())]
    amperes = [Fraction(0), *currents(colours, channels, channel_amps)]
    spans = [
        (amps, start, stop)
        for amps, start, stop in zip(amperes, starts, [*starts[1:], end], strict=True)
        if start < stop
    ]
    peak, peak_at, _ = max(spans, key=lambda span: span[0])  # the first of equal ones
    charge = sum(amps * (stop - start) for amps, start, stop in spans)
    return Supply(peak, peak_at, Fraction(charge, end - begin), colours.shape[1])


def currents(colours: Colours, channels: int, channel_amps: Fraction) -> list[Fraction]:
    """Return the current of a string in each frame, in amperes, exact.

    Parameters
    ----------
    colours : 0xRRGGBB or 0xWWRRGGBB, frames x lamps
    channels : colour channels of a lamp, 3 or 4
    channel_amps : amperes of one channel that is fully lit

    Raises
    ------
    ValueError : the number of channels is neither 3 nor 4, a colour has white that the lamps have not,
        or ``channel_amps`` is not a Fraction above 0
    """
    if channels not in CHANNELS:
        raise ValueError(
            f"channels must be {join_or(map(str, CHANNELS))}, not {format_value(channels)}"
        )
    if not isinstance(channel_amps, Fraction) or channel_amps <= 0:
        raise ValueError(
            f"channel_amps must be a Fraction above 0, not {format_value(channel_amps)}"
        )
    for frame, lamp in np.argwhere(colours > np.uint32((1 << 8 * channels) - 1))[:1]:
        raise ValueError(
            f"colours[{frame}, {lamp}] must be at most 0xFFFFFF for 3 channels, "
            f"not {int(colours[frame, lamp]):#010x}"
        )
    parts = (colours >> np.uint32(SHIFTS[letter]) & 255 for letter in CHANNELS[channels])
    levels = sum(part.sum(axis=1, dtype=np.int64) for part in parts)
    return [Fraction(level) * channel_amps / 255 for level in np.asarray(levels).tolist()]
