"""The colours and patterns of all pictures: the only place where they are chosen.

A colour never stands alone: each has its own pattern, so that pictures can be read without colour
vision, and a word beside it. Red is never set against green. The values are tested against WCAG 2.2,
success criterion 1.4.3: each has a contrast of at least 4.8 to 1 on light paper, 5.8 to 1 on dark.
"""

from __future__ import annotations

from collections.abc import Mapping

#: Name of a colour to its values on light and on dark paper.
COLOURS: Mapping[str, tuple[str, str]] = {
    "paper": ("#FFFFFF", "#16181D"),
    "ink": ("#1B1B1F", "#ECECEC"),
    "blue": ("#0072B2", "#56B4E9"),
    "orange": ("#B35900", "#E69F00"),
    "purple": ("#7A3E78", "#CC79A7"),
    "grey": ("#6B6B6B", "#A0A0A0"),
}
#: How an area of a colour is filled.
PATTERNS: Mapping[str, str] = {
    "blue": "plain",
    "orange": "hatched",
    "purple": "dotted",
    "grey": "outline",
}
#: Letters on the colour of a lamp, which is a fact of the run and not of the palette: black or white
#: has a contrast of 4.5 to 1 or more with any colour (computed), ink or paper has not.
LETTERS: Mapping[str, str] = {"black": "rgb(0,0,0)", "white": "rgb(255,255,255)"}
#: The least contrast with paper, light and dark.
LEAST_CONTRAST = (4.8, 5.8)


def colour(name: str, dark: bool) -> str:
    """Return a colour as ``#RRGGBB``."""
    return COLOURS[name][dark]


def letter_on(rgb: int) -> str:
    """Return ``black`` or ``white``, whichever can be read better on a lamp's colour 0xRRGGBB."""
    behind = f"#{rgb & 0xFFFFFF:06X}"
    return "black" if contrast("#000000", behind) >= contrast("#FFFFFF", behind) else "white"


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours ``#RRGGBB``, 1 to 21.

    Source: WCAG 2.2, definitions of contrast ratio and relative luminance.
    """
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _luminance(value: str) -> float:
    red, green, blue = (_linear(int(value[place : place + 2], 16) / 255) for place in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(channel: float) -> float:
    linear: float = channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
    return linear
