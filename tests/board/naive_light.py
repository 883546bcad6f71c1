"""A naive counter of flashes: frame by frame, window by window, in exact numbers, in linear light.

The counter follows the rules of :mod:`busbox.board.light` and shares no code with it. Beside it stand
colours, and short ways of asking for the flashes of one lamp.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from busbox.board.light import Flashing, flashing

BLACK, WHITE, RED, GREEN, BLUE = 0, 0xFFFFFF, 0xFF0000, 0x00FF00, 0x0000FF
#: Colours whose red measure, 320 (R - G - B), is near to the number in their names, in linear light;
#: the oranges are not saturated.
ORANGE_60, ORANGE_31, RED_30, RED_19 = 0x702020, 0x592020, 0x180000, 0x0F0000
TENTH = Fraction(1, 10)


def grey(value: int) -> int:
    """Return the grey of a value."""
    return value * 0x010101


def one_lamp(
    colours: list[int],
    shows: list[int] | None = None,
    tick: Fraction = TENTH,
    light: str = "linear",
) -> tuple[Flashing, Flashing]:
    """Return the general and the red flashing of a single lamp; without ``shows``, a frame a tick."""
    ticks = np.array(range(len(colours)) if shows is None else shows, dtype=np.int64)
    general, red = flashing(ticks, np.array([colours], np.uint32).T, tick, light)
    assert (general.lamp, general.kind, red.lamp, red.kind) == (0, "general", 0, "red")
    return general, red


def flashes(colours: list[int], light: str = "linear") -> tuple[int, int]:
    """Return the most general and red flashes of frames that fit into a second."""
    general, red = one_lamp(colours, tick=Fraction(1, 100), light=light)
    return general.most, red.most


State = tuple[Fraction, bool]


def measured(colour: int, red: bool) -> State:
    """Return what a change of a colour is measured by as linear light, and whether it is marked."""
    white, *rest = (Fraction(colour >> shift & 255, 255) for shift in (24, 16, 8, 0))
    r, g, b = (min(one + white, Fraction(1)) for one in rest)
    if red:
        return max(Fraction(0), (r - g - b) * 320), r > 0 and r / (r + g + b) >= Fraction(8, 10)
    value = Fraction("0.2126") * r + Fraction("0.7152") * g + Fraction("0.0722") * b
    return value, value < Fraction(8, 10)


def far(one: State, other: State, red: bool) -> bool:
    """Return whether two states differ so much that a change between them counts."""
    by = abs(one[0] - other[0])
    return (one[1] or other[1]) and (by > 20 if red else by >= Fraction(1, 10))


def changes(colours: list[int], red: bool = False) -> list[int]:
    """Return the numbers of the frames in which a change counts, as linear light."""
    states = [measured(colour, red) for colour in (0, *colours)]
    found, begin, way = [], 0, 0
    for now in range(1, len(states)):
        ways = {
            1 if states[now][0] > before[0] else -1
            for before in states[begin:now] if far(before, states[now], red)
        } - {way}  # fmt: skip
        if ways:
            down = ways == {-1} or (len(ways) == 2 and states[now][0] < states[now - 1][0])
            begin, way = now, -1 if down else 1
            found.append(now - 1)
    return found


def naive(shows: list[int], colours: list[int], tick: Fraction, red: bool) -> tuple[int, int, int]:
    """Return the most flashes of a lamp in any second, and where the first so many begin and end."""
    ticks = [shows[frame] for frame in changes(colours, red)]
    best = (0, -1, -1)
    for first in ticks:
        inside = [one for one in ticks if one >= first and (one - first) * tick < 1]
        if len(inside) // 2 > best[0]:
            best = (len(inside) // 2, first, inside[len(inside) // 2 * 2 - 1])
    return best
