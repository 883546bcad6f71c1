"""Whether what is written in a picture can be read: each text against what lies behind it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree import ElementTree

import pytest

from busbox.pictures import Look
from tests.pictures.gallery import DRAWN, drawn
from tests.pictures.geometry import SVG, parsed, words

#: Least contrast of text with what is behind it. Source: WCAG 2.2, success criterion 1.4.3.
LEAST = 4.5


def _luminance(colour: str) -> float:
    """Return the relative luminance. Source: WCAG 2.2, definition of relative luminance."""
    if colour.startswith("#"):
        parts = [int(colour[place : place + 2], 16) for place in (1, 3, 5)]
    else:
        parts = [int(part) for part in re.findall(r"\d+", colour)]
    linear = [c / 3294.6 if c <= 10 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def _contrast(one: str, other: str) -> float:
    """Return the contrast of two colours. Source: WCAG 2.2, definition of contrast ratio."""
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def _behind(svg: str) -> Iterator[tuple[ElementTree.Element, str]]:
    """Yield each text and the fill of the area that was last drawn around its place."""
    areas: list[tuple[float, float, float, float, str]] = []
    for one in parsed(svg).iter():
        if one.tag == f"{SVG}rect" and one.attrib["fill"] != "none":
            x, y = (float(one.get(key, 0)) for key in ("x", "y"))
            wide, tall = (float(one.attrib[key]) for key in ("width", "height"))
            areas.append((x, y, x + wide, y + tall, one.attrib["fill"]))
        elif one.tag == f"{SVG}text":
            x, y = float(one.attrib["x"]), float(one.attrib["y"]) - 4
            x += {"middle": 0, "end": -3}.get(one.get("text-anchor", ""), 3)
            yield (
                one,
                next(
                    fill
                    for left, top, right, bottom, fill in reversed(areas)
                    if left <= x <= right and top <= y <= bottom
                ),
            )


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(("bench", "asked"), DRAWN)
def test_every_text_can_be_read(bench: str, asked: str, dark: bool) -> None:
    """It has enough contrast with the plain colour behind it, or has paper behind each letter."""
    svg = drawn(bench, asked, Look(dark=dark))
    paper = parsed(svg).find(f"{SVG}rect")
    assert paper is not None
    for text, fill in _behind(svg):
        if fill.startswith("url("):
            assert text.get("paint-order") == "stroke", text.text
            fill = text.attrib["stroke"]
            assert fill == paper.attrib["fill"]
        assert _contrast(text.attrib["fill"], fill) >= LEAST, (text.text, fill)
    assert words(svg)


def test_the_formula_is_the_standards() -> None:
    """Black on white is 21 to 1, equal colours are 1 to 1; a pale grey on white is refused.

    Source: WCAG 2.2, definition of contrast ratio (21 and 1).
    """
    assert _contrast("#000000", "rgb(255,255,255)") == pytest.approx(21)
    assert _contrast("#0072B2", "#0072B2") == pytest.approx(1)
    assert _contrast("#999999", "#FFFFFF") < LEAST
