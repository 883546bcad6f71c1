"""An independent look at a picture: what it says, and where its texts stand.

The width of a text is estimated here from another source than in the package: a letter is 0.62 of the
size wide in a monospaced or bold typeface and 0.56 in another, the average of English text in the wide
DejaVu Sans (measured).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Written:
    """A text and the box that it takes."""

    text: str
    left: float
    top: float
    right: float
    bottom: float
    fill: str

    def meets(self, other: Written) -> bool:
        """Return whether the boxes overlap."""
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom


def parsed(svg: str) -> ElementTree.Element:
    """Return the root of a picture; a text has the attributes of the group around it as well."""
    root = ElementTree.fromstring(svg)
    for group in root.iter(f"{SVG}g"):
        for one in group:
            one.attrib.update(group.attrib | one.attrib)
    return root


def texts(svg: str) -> list[Written]:
    """Return all texts of a picture."""
    found = []
    for one in parsed(svg).iter(f"{SVG}text"):
        size, x, y = (float(one.attrib[key]) for key in ("font-size", "x", "y"))
        broad = "mono" in one.attrib["font-family"].split(",")[0] or "font-weight" in one.attrib
        wide = len(one.text or "") * size * (0.62 if broad else 0.56)
        left = x - wide * {"middle": 0.5, "end": 1.0}.get(one.get("text-anchor", ""), 0.0)
        box = (left, y - 0.76 * size, left + wide, y + 0.2 * size)
        found.append(Written(one.text or "", *box, one.attrib["fill"]))
    return found


def words(svg: str) -> str:
    """Return all that a picture says, in order."""
    return " ".join(one.text for one in texts(svg))


def check_geometry(svg: str) -> None:
    """Assert that nothing is outside the frame and no text lies on another."""
    root = parsed(svg)
    width, height = float(root.attrib["width"]), float(root.attrib["height"])
    assert root.attrib["viewBox"] == f"0 0 {width:g} {height:g}"
    for one in texts(svg):
        assert 0 <= one.left < one.right <= width, one
        assert 0 <= one.top < one.bottom <= height, one
    for one, other in combinations(texts(svg), 2):
        assert not one.meets(other), (one, other)
    for area in root.iter(f"{SVG}rect"):
        left, top = float(area.get("x", 0)), float(area.get("y", 0))
        assert 0 <= left <= left + float(area.attrib["width"]) <= width + 0.01, area.attrib
        assert 0 <= top <= top + float(area.attrib["height"]) <= height + 0.01, area.attrib
