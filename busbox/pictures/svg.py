"""A small writer of SVG 1.1: areas, lines and texts on one sheet, the same bytes for the same picture.

Texts are measured by the widths of a wide common typeface, so that they fit with any other. A sheet on
which a text would not fit is refused with the width that it needs; nothing is cut or made smaller.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from xml.sax.saxutils import escape, quoteattr

from busbox.pictures.palette import COLOURS, LETTERS, PATTERNS, colour

#: Pixels: the narrowest and the widest sheet, and the empty space around what is drawn.
LEAST_WIDTH, MOST_WIDTH, MARGIN = 340, 10_000, 16
#: Pixels of normal and of small text; the distance of two lines of text.
SIZE, SMALL, LEADING = 13, 11, 17
_FACES = {
    False: "system-ui, 'Segoe UI', 'DejaVu Sans', Helvetica, Arial, sans-serif",
    True: "ui-monospace, 'DejaVu Sans Mono', Consolas, Menlo, monospace",
}
#: Widths of characters in thousandths of the size, at most. Source: metrics of DejaVu Sans, one of the
#: widest typefaces in use, rounded up.
_WIDTHS = {
    **dict.fromkeys("ijl'|", 340),
    **dict.fromkeys(" .,:;/\\!I()[]ft-", 410),
    **dict.fromkeys("rszckvxy", 600),
    **dict.fromkeys("mwMW%@", 1000),
    **dict.fromkeys("ABCDEFGHJKLNOPQRSTUVXYZ+=<>~#_", 840),
}
_OTHER, _MONO, _BOLD = 650, 620, 1.12


@dataclass(frozen=True)
class Look:
    """How a picture looks.

    Attributes
    ----------
    width : pixels
    dark : dark paper and light ink, else light paper
    transparent : no paper, for a page that has its own
    """

    width: int = 720
    dark: bool = False
    transparent: bool = False

    def __post_init__(self) -> None:
        """Check the width.

        Raises
        ------
        ValueError : it is not from 340 to 10,000 pixels
        """
        if not LEAST_WIDTH <= self.width <= MOST_WIDTH:
            raise ValueError(
                f"width must be {LEAST_WIDTH} to {MOST_WIDTH} pixels, not {self.width}"
            )


class TooNarrow(ValueError):
    """A picture does not fit on its sheet; ``least`` is the width in pixels that it needs."""

    def __init__(self, least: int, width: int) -> None:
        self.least = least
        super().__init__(f"width must be at least {least} pixels for this picture, not {width}")


def text_width(text: str, size: float = SIZE, mono: bool = False, bold: bool = False) -> float:
    """Return how many pixels a text takes, at most."""
    units = sum(_MONO if mono else _WIDTHS.get(letter, _OTHER) for letter in text)
    return units * size / 1000 * (_BOLD if bold and not mono else 1)


def wrap(text: str, room: float, size: float = SIZE) -> list[str]:
    """Return a text as lines that fit, broken between words; a longer word has its own line."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def show(number: float) -> str:
    """Return a coordinate: at most two decimals, the same on every machine."""
    text = f"{number:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


class Sheet:
    """What a picture is drawn on; y grows downwards from the top."""

    def __init__(self, look: Look) -> None:
        self.look = look
        self.width = look.width
        #: What is drawn; of a text also what it may share with those before and after it.
        self._parts: list[tuple[str, str]] = []
        self._needs = 0.0

    def colour(self, name: str) -> str:
        """Return a colour of the palette for this paper; letters on lamps are the same on both."""
        return LETTERS.get(name) or colour(name, self.look.dark)

    def area(self, x: float, y: float, width: float, height: float, name: str) -> None:
        """Draw a rectangle in a colour of the palette with the pattern of that colour."""
        self._reach(x + width)
        pattern, value = PATTERNS[name], self.colour(name)
        fill = {"plain": value, "outline": "none"}.get(pattern, f"url(#{self._id(name)})")
        edge = "" if pattern == "plain" else f' stroke="{value}"'
        self._parts.append(("", f'<rect {_box(x, y, width, height)} fill="{fill}"{edge}/>'))

    def swatch(self, x: float, y: float, width: float, height: float, rgb: int) -> None:
        """Draw a rectangle in a colour 0xRRGGBB that is a fact of the run, framed in grey."""
        self._reach(x + width)
        fill = f"rgb({rgb >> 16 & 255},{rgb >> 8 & 255},{rgb & 255})"
        edge = self.colour("grey")
        self._parts.append(
            ("", f'<rect {_box(x, y, width, height)} fill="{fill}" stroke="{edge}"/>')
        )

    def line(
        self, points: Iterable[tuple[float, float]], name: str = "ink", width: float = 1.0,
        dashed: bool = False,
    ) -> None:  # fmt: skip
        """Draw straight lines from point to point."""
        places = list(points)
        self._reach(max(x for x, _ in places))
        path = " ".join(f"{show(x)},{show(y)}" for x, y in places)
        dash = ' stroke-dasharray="4 3"' if dashed else ""
        drawn = (
            f'<polyline points="{path}" fill="none" stroke="{self.colour(name)}" '
            f'stroke-width="{show(width)}"{dash}/>'
        )
        self._parts.append(("", drawn))

    def text(
        self, x: float, y: float, text: str, size: float = SIZE, *, name: str = "ink",
        anchor: str = "start", mono: bool = False, bold: bool = False, halo: bool = False,
    ) -> None:  # fmt: skip
        """Write a text whose baseline is y; ``halo`` puts paper behind its letters."""
        wide = text_width(text, size, mono, bold)
        left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        self._reach(left + wide + max(0.0, MARGIN / 2 - left))
        weight = ' font-weight="bold"' if bold else ""
        where = "" if anchor == "start" else f' text-anchor="{anchor}"'
        paper = self.colour("paper")
        behind = (
            f' stroke="{paper}" stroke-width="4" stroke-linejoin="round" paint-order="stroke"'
            if halo
            else ""
        )
        shared = (
            f"font-family={quoteattr(_FACES[mono])} "
            f'font-size="{show(size)}" fill="{self.colour(name)}"{weight}{where}{behind}'
        )
        at = f'x="{show(x)}" y="{show(y)}"'
        self._parts.append((shared, f"<text {at}>{escape(text)}</text>"))

    def heading(self, title: str, more: str = "") -> float:
        """Write the title of the picture, and what to know about it; return the y below."""
        y = float(MARGIN + SIZE)
        for line in wrap(title, (self.width - 2 * MARGIN) / _BOLD, SIZE + 2):
            self.text(MARGIN, y, line, SIZE + 2, bold=True)
            y += LEADING + 2
        return self.words(MARGIN, y, more, self.width - 2 * MARGIN, SMALL, "grey") + 8

    def words(
        self, x: float, y: float, text: str, room: float, size: float = SIZE, name: str = "ink"
    ) -> float:
        """Write a text in as many lines as it needs; return the baseline below."""
        for line in wrap(text, room, size):
            self.text(x, y, line, size, name=name)
            y += LEADING if size >= SIZE else LEADING - 2
        return y

    def legend(self, y: float, entries: Iterable[tuple[str, str]]) -> float:
        """Write what each colour means, in as many lines as it needs; return the y below.

        Parameters
        ----------
        entries : (name of a colour, its meaning)
        """
        x = float(MARGIN)
        for name, text in entries:
            wide = 24 + text_width(text, SMALL)
            if x > MARGIN and x + wide > self.width - MARGIN:
                x, y = float(MARGIN), y + LEADING
            self.area(x, y, 16, 11, name)
            self.text(x + 22, y + 10, text, SMALL)
            x += wide + 16
        return y + LEADING

    def svg(self, height: float, title: str, description: str) -> str:
        """Return the picture as text.

        Parameters
        ----------
        title, description : what the picture shows, for those who cannot see it

        Raises
        ------
        TooNarrow : something does not fit
        """
        if self._needs > self.width - MARGIN / 2 + 0.01:
            raise TooNarrow(int(self._needs + MARGIN / 2) + 1, self.width)
        wide, tall = self.width, show(round(height))
        body = "\n".join(_grouped(self._parts))
        used = "\n".join(self._pattern(name) for name in COLOURS if f"#{self._id(name)})" in body)
        paper = ""
        if not self.look.transparent:
            paper = f'<rect width="{wide}" height="{tall}" fill="{self.colour("paper")}"/>\n'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{tall}" '
            f'viewBox="0 0 {wide} {tall}" role="img" aria-label={quoteattr(title)}>\n'
            f"<title>{escape(title)}</title>\n<desc>{escape(description)}</desc>\n"
            f"<defs>\n{used}\n</defs>\n{paper}{body}\n</svg>\n"
        )

    def _reach(self, right: float) -> None:
        self._needs = max(self._needs, right)

    def _id(self, name: str) -> str:
        return f"{PATTERNS.get(name, name)}-{'dark' if self.look.dark else 'light'}"

    def _pattern(self, name: str) -> str:
        value, tile = self.colour(name), 'patternUnits="userSpaceOnUse" width="6" height="6"'
        if PATTERNS[name] == "hatched":
            inner = (
                f'<path d="M-1,1 L1,-1 M0,6 L6,0 M5,7 L7,5" stroke="{value}" stroke-width="1.6"/>'
            )
        else:
            inner = f'<circle cx="3" cy="3" r="1.4" fill="{value}"/>'
        return f'<pattern id="{self._id(name)}" {tile}>{inner}</pattern>'


def _grouped(parts: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Yield what is drawn; texts that follow each other and share their typeface are a group."""
    for shared, some in groupby(parts, key=itemgetter(0)):
        drawn = [one for _, one in some]
        if not shared:
            yield from drawn
        elif len(drawn) == 1:
            yield drawn[0].replace("<text ", f"<text {shared} ", 1)
        else:
            yield f"<g {shared}>"
            yield from drawn
            yield "</g>"


def _box(x: float, y: float, width: float, height: float) -> str:
    return f'x="{show(x)}" y="{show(y)}" width="{show(width)}" height="{show(height)}"'
