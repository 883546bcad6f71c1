"""How much light a colour gives, as the three-flashes rule measures it.

Rules
=====
1. Of linear values from 0 to 1, the relative luminance is 0.2126 R + 0.7152 G + 0.0722 B.
2. As sRGB, c = value / 255 is linear c / 12.92 up to 0.04045, and ((c + 0.055) / 1.055) ^ 2.4 above.
3. As linear light, a value is the duty of the lamp's modulation, value / 255; the modulation itself is
   taken as too fast to be seen.
4. White of lamps with four channels adds to R, G and B alike, and each sum is capped at 1.
5. A screen shows linear light c as sRGB: 12.92 c up to 0.0031308, above
   1.055 c ^ (1 / 2.4) - 0.055.

Sources: rules 1 and 2, and the measures of changes: WCAG 2.2, success criterion 2.3.1 and the
definitions that it names. Rule 5: sRGB transfer function, IEC 61966-2-1. Rules 3 and 4 are our own.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import format_value, join_or
from busbox.lines.bits import SHIFTS, Ints

Colours = NDArray[np.uint32]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: By the name of a light: what the values 0 to 255 give, and full light in the same unit. Linear light
#: is counted in 1/255, and weights in 1/10000: all of its numbers are whole, hence exact as floats.
LIGHTS: Mapping[str, tuple[Floats, float]] = {
    "linear": (np.arange(256.0), 255.0),
    "srgb": (
        np.array([
            value / 255 / 12.92 if value / 255 <= 0.04045 else ((value / 255 + 0.055) / 1.055) ** 2.4
            for value in range(256)
        ]),
        1.0,
    ),
}  # fmt: skip


def luminance(colour: int, light: str = "linear") -> float:
    """Return the relative luminance of a colour, 0 to 1, as a float.

    Raises
    ------
    ValueError : the light is unknown
    """
    return float(general(np.array([colour], np.uint32), light)[0][0] / (10000 * full(light)))


def red_share(colour: int, light: str = "linear") -> float:
    """Return R / (R + G + B) of linear values, as a float; 0 of black.

    Raises
    ------
    ValueError : the light is unknown
    """
    r, g, b = (float(one[0]) for one in _channels(np.array([colour], np.uint32), light))
    return r / (r + g + b) if colour else 0.0


def on_screen(colour: int, light: str = "linear") -> int:
    """Return the colour 0xRRGGBB of a screen that looks like a lamp's colour.

    Raises
    ------
    ValueError : the light is unknown
    """
    shown = 0
    for one in _channels(np.array([colour], np.uint32), light):
        share = float(one[0]) / full(light)
        curve = 12.92 * share if share <= 0.0031308 else 1.055 * share ** (1 / 2.4) - 0.055
        shown = shown << 8 | round(255 * curve)
    return shown


def check_shown(shows: Ints, colours: Colours) -> None:
    """Check what lamps show.

    Raises
    ------
    ValueError : ``shows`` is not a strictly rising int64 row, or ``colours`` not a uint32 table with as
        many rows
    """
    if shows.ndim != 1 or shows.dtype != np.int64:
        raise ValueError(f"shows must be a row of int64, not {shows.dtype} of shape {shows.shape}")
    if colours.ndim != 2 or len(colours) != len(shows) or colours.dtype != np.uint32:
        raise ValueError(
            f"colours must be a table of uint32 with {len(shows)} rows, "
            f"not {colours.dtype} of shape {colours.shape}"
        )
    for early in np.flatnonzero(shows[1:] <= shows[:-1])[:1]:
        raise ValueError(
            f"shows[{early + 1}] must be after the tick before, {shows[early]}, "
            f"not {shows[early + 1]}"
        )


def full(light: str) -> float:
    """Return full light, in the unit of a light.

    Raises
    ------
    ValueError : the light is unknown
    """
    if light not in LIGHTS:
        raise ValueError(f"light must be {join_or(LIGHTS)}, not {format_value(light)}")
    return LIGHTS[light][1]


def _channels(colours: Colours, light: str) -> tuple[Floats, ...]:
    """Return red, green and blue, with white in each of them, in the unit of the light."""
    one = full(light)
    table = LIGHTS[light][0]
    parts = {key: table[colours >> np.uint32(shift) & 255] for key, shift in SHIFTS.items()}
    return tuple(np.minimum(parts[key] + parts["W"], one) for key in "RGB")


def general(colours: Colours, light: str) -> tuple[Floats, Flags]:
    """Return what a general change measures: luminance, in 1/10000 of the light's unit; and whether it
    is below 0.8.
    """
    r, g, b = _channels(colours, light)
    value = 2126 * r + 7152 * g + 722 * b
    return value, value < 8000 * full(light)


def red(colours: Colours, light: str) -> tuple[Floats, Flags]:
    """Return what a red change measures: max(0, R - G - B) x 320, in the light's unit; and whether
    R / (R + G + B) is 0.8 or more, which black's is not.
    """
    r, g, b = _channels(colours, light)
    return 320 * np.maximum(r - g - b, 0), (r >= 4 * (g + b)) & (r > 0)
