"""Pictures as a browser draws them, with the typefaces of this machine."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import Any, TypedDict

import pytest

from busbox.pictures import Look
from tests.pictures.gallery import DRAWN, drawn

#: The boxes of all texts, and of all that is drawn, as the browser measured them.
MEASURE = """() => {
    const box = (one) => {
        const {x, y, width, height} = one.getBBox();
        return {what: one.textContent || one.tagName, x, y, right: x + width, bottom: y + height};
    };
    const all = (names) => [...document.querySelector("svg").querySelectorAll(names)].map(box);
    return {texts: all("text"), areas: all("rect, polyline, circle, path:not(pattern *)")};
}"""
#: A box of letters has room above and below them, in parts of its height: boxes of lines one below the
#: other may meet there. Source: ascent and descent of typefaces; measured: 0.15 of it at most is used
#: by accents and 0.05 below a descender.
AIR = 0.15


class Box(TypedDict):
    """What a browser says of something drawn."""

    what: str
    x: float
    y: float
    right: float
    bottom: float


@pytest.fixture(scope="module")
def page(browser: Any) -> Iterator[Any]:
    """A page of a browser, in which nothing but a picture is shown."""
    page = browser.new_page()
    yield page
    page.close()


def _overlap(one: Box, other: Box) -> bool:
    air = AIR * min(one["bottom"] - one["y"], other["bottom"] - other["y"])
    across = one["x"] < other["right"] and other["x"] < one["right"]
    return across and one["y"] + air < other["bottom"] and other["y"] + air < one["bottom"]


@pytest.mark.parametrize(("bench", "words"), DRAWN)
def test_texts_are_in_the_frame_and_apart(page: Any, bench: str, words: str) -> None:
    """Measured by the browser, nothing is outside the picture and no text is on another."""
    for width, dark in ((358, False), (720, True), (1100, False)):
        svg = drawn(bench, words, Look(width, dark))
        page.set_content(svg)
        frame = page.evaluate("() => document.querySelector('svg').viewBox.baseVal.width")
        tall = page.evaluate("() => document.querySelector('svg').viewBox.baseVal.height")
        found: dict[str, list[Box]] = page.evaluate(MEASURE)
        assert found["texts"]
        assert found["areas"]
        for box in found["texts"] + found["areas"]:
            assert box["x"] >= -0.1, box
            assert box["y"] >= -0.1, box
            assert box["right"] <= frame + 0.1, box
            assert box["bottom"] <= tall + 0.1, box
        for one, other in combinations(found["texts"], 2):
            assert not _overlap(one, other), (one, other)


def test_the_measure_sees_what_is_wrong(page: Any) -> None:
    """Two texts on each other overlap, and two lines one below the other do not."""
    texts = "".join(
        f'<text x="{x}" y="{y}" font-size="13">abc</text>' for x, y in ((9, 20), (12, 22), (9, 37))
    )
    page.set_content(f'<svg xmlns="http://www.w3.org/2000/svg">{texts}</svg>')
    first, second, below = page.evaluate(MEASURE)["texts"]
    assert _overlap(first, second)
    assert not _overlap(first, below)


def test_a_picture_is_drawn_as_a_file(page: Any, tmp_path: Any) -> None:
    """Opened by itself, a picture has its size, and nothing is asked of a network."""
    file = tmp_path / "map.svg"
    file.write_text(drawn("first_light", "map", Look(640)), encoding="utf-8")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    assert page.evaluate("() => document.documentElement.width.baseVal.value") == 640
    assert asked == [file.as_uri()]
