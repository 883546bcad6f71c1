"""Lines of styled words, wrapped at the width of what they are printed on.

All wrapping is done here. A line breaks at spaces only, though not between a number and its unit, and
every word is kept; only a word that is longer than a line (a path, a number) is broken. A table keeps
its columns aligned, and its last column wraps. Where that does not fit, the names of the columns wrap,
or the last column stands under each row, or all cells of a row stand under each other.

Words from users never go through a mark-up language: what they wrote is what is printed, with escapes
for control characters. Colours are those of rich, where the output is a terminal.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Iterable, Iterator, Sequence
from typing import TextIO

#: A word and its style (a rich style such as ``bold`` or ``on #ff0000``; "" for none).
Word = tuple[str, str]

#: Columns of what is no terminal, the fewest that a page is laid out for, and the most for prose.
WIDTH, NARROWEST, PROSE = 80, 40, 100
#: Columns that a wrapped last column of a table needs beside the others; else it stands under them.
LEAST = 20
#: How far a cell is indented that stands under its row.
UNDER = 4
#: A space at which no line breaks; printed as a space. (A noncharacter: no text of a user has it.)
TIED = "\ufdd0"
#: A unit, which stays in the line of its number.
_UNIT = re.compile(r"(?<=[0-9]) (?:ps|ns|us|ms|s|Hz|kHz|MHz|GHz|mA|A|%|MiB|baud)(?![A-Za-z0-9_])")
#: What is printed for a control character; a line break is one.
_SHOWN = {code: repr(chr(code))[1:-1] for code in (*range(32), *range(127, 160))}
#: The direction of text is changed by characters that a terminal may obey, too.
_SHOWN |= {code: repr(chr(code))[1:-1] for code in (*range(0x2028, 0x202F), *range(0x2066, 0x206A))}
_SHOWN |= {ord("\t"): "    ", ord("\n"): "\n"}


def width_of(file: TextIO) -> int:
    """Return how many columns a page for a file has.

    On a terminal its width; on a file or a pipe 80, so that a text is the same on every machine. The
    environment variable ``COLUMNS`` goes before both. At least 40.
    """
    if file.isatty():
        found = shutil.get_terminal_size((WIDTH, 24)).columns
    else:
        given = os.environ.get("COLUMNS", "")
        found = int(given) if re.fullmatch(r"0*[1-9][0-9]{0,5}", given) else WIDTH
    return max(found, NARROWEST)


def shows_colours(file: TextIO) -> bool:
    """Return whether a file is a terminal that shows colours, and nobody has asked for plain text.

    Whoever sets ``NO_COLOR`` to anything wants none. Source: no-color.org. A terminal of the type
    ``dumb`` has none (POSIX.1-2017, Base Definitions 8.3; terminfo).
    """
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return file.isatty()


def paper_for(file: TextIO) -> Paper:
    """Return paper as wide as a file, with what that can show: colours, and blocks beside ASCII."""
    colours = shows_colours(file)
    unicode = (file.encoding or "").lower().replace("-", "") == "utf8"
    return Paper(colours, width_of(file), colours and unicode)


class Paper:
    """Collects lines and prints them.

    Attributes
    ----------
    colours : whether the output shows colours
    width : columns that there are; prose takes :data:`PROSE` of them at most
    blocks : whether it shows the block elements of Unicode; else a drawing takes ASCII
    """

    def __init__(self, colours: bool = False, width: int = WIDTH, blocks: bool = False) -> None:
        self.colours = colours
        self.width = width
        self.blocks = blocks
        self._lines: list[list[Word]] = []

    def line(self, *words: str | Word, hang: int = 0) -> None:
        """Add a line; a plain string is a word without style.

        What does not fit follows in lines that are indented as far as the first, and ``hang`` columns
        more.
        """
        whole = _words(words)
        text = _text(whole)
        indent = len(text) - len(text.lstrip(" ")) + hang
        for number, part in enumerate(_wrapped(whole, self._prose, indent)):
            self._lines.append([(" " * indent, ""), *part] if number else part)

    def title(self, text: str) -> None:
        """Add an empty line and a heading."""
        if self._lines:
            self.line()
        self.line((text, "bold"), hang=2)

    def table(
        self,
        rows: Iterable[Sequence[object]],
        *,
        head: Sequence[str] | None = None,
        numbers: Sequence[int] = (),
        indent: int = 2,
    ) -> None:
        """Add rows of cells in columns.

        Parameters
        ----------
        rows : a cell is a list of words, or anything whose ``str`` is its text
        head : names of the columns; they name the cells where rows stand under each other
        numbers : the columns aligned to the right
        """
        body = [[_cell(cell) for cell in row] for row in rows]
        if not body:
            return
        top = [[_cell(name) for name in head]] if head else []
        if head and not self._fits(_widths([*top, *body]), indent):
            folded = _folded(head, _widths(body))
            top = folded if self._fits(_widths([*folded, *body]), indent) else top
        widths = _widths([*top, *body])
        before = indent + sum(width + 2 for width in widths[:-1])
        if self._fits(widths, indent):
            widths[-1] = min(widths[-1], min(self.width, max(self._prose, before + LEAST)) - before)
            for row in [*top, *body]:
                self._row(row, widths, numbers, indent, before)
        elif len(widths) > 1 and widths[-1] > LEAST and before - 2 <= self.width:
            for row in [*top, *body]:
                self._row(row[:-1], widths[:-1], numbers, indent, indent)
                self._under(row[-1], indent + UNDER)
        elif head:
            labels = [f"  {name}" if index else name for index, name in enumerate(head)]
            for row in body:
                self.table(zip(labels, row, strict=True), indent=indent)
        else:
            for row in body:
                self._flow(row, indent)

    @property
    def text(self) -> str:
        """Everything as plain text."""
        return "".join(
            f"{_text(line)}\n".replace(TIED, " ") for line in map(_stripped, self._lines)
        )

    def print(self, file: TextIO | None = None) -> None:
        """Print everything to a file, standard output if it is None."""
        if not self.colours:
            (file or sys.stdout).write(self.text)
            return
        from rich.console import Console
        from rich.text import Text

        console = Console(file=file, highlight=False, soft_wrap=True)
        for line in map(_stripped, self._lines):
            console.print(
                Text.assemble(*((text.replace(TIED, " "), style) for text, style in line))
            )

    @property
    def _prose(self) -> int:
        return min(self.width, PROSE)

    def _fits(self, widths: Sequence[int], indent: int) -> bool:
        """Return whether columns of these widths can stand beside each other."""
        before = indent + sum(width + 2 for width in widths[:-1])
        return before + min(widths[-1], LEAST) <= self.width

    def _row(
        self,
        row: Sequence[list[Word]],
        widths: Sequence[int],
        numbers: Sequence[int],
        indent: int,
        hang: int,
    ) -> None:
        """Add a row whose last cell, ``hang`` columns from the left, wraps at its width."""
        words: list[Word] = [(" " * indent, "")]
        for index, (cell, width) in enumerate(zip(row[:-1], widths[:-1], strict=True)):
            space = (" " * (width - _columns(_text(cell))), "")
            words += [space, *cell] if index in numbers else [*cell, space]
            words.append(("  ", ""))
        for number, part in enumerate(_wrapped(row[-1], widths[-1], 0)):
            space = (" " * (widths[-1] - _columns(_text(part))), "")
            before = [(" " * hang, "")] if number else words
            self._lines.append(
                [*before, space, *part] if len(row) - 1 in numbers else [*before, *part]
            )

    def _under(self, cell: list[Word], indent: int) -> None:
        if _text(cell).strip():
            for part in _wrapped(cell, self._prose - indent, 0):
                self._lines.append([(" " * indent, ""), *part])

    def _flow(self, row: Sequence[list[Word]], indent: int) -> None:
        """Add a row whose cells follow each other like words."""
        words: list[Word] = [(" " * indent, "")]
        for cell in row:
            if _text(cell).strip():
                words += [*cell, ("  ", "")]
        self.line(*words[:-1], hang=UNDER)


# Words and their columns.


def _words(words: Iterable[str | Word]) -> list[Word]:
    pairs = ((word, "") if isinstance(word, str) else word for word in words)
    return [(text.translate(_SHOWN), style) for text, style in pairs]


def _cell(cell: object) -> list[Word]:
    """Return the words of a cell, in one line."""
    words = _words(cell if isinstance(cell, list) else [str(cell)])
    return [(text.replace("\n", " "), style) for text, style in words]


def _widths(cells: Sequence[Sequence[list[Word]]]) -> list[int]:
    """Return the columns of the widest cell of each column of a table."""
    return [max(_columns(_text(cell)) for cell in column) for column in zip(*cells, strict=True)]


def _folded(head: Sequence[str], widths: Sequence[int]) -> list[list[list[Word]]]:
    """Return the rows of a head whose names take no more columns than their cells or longest word."""
    names: list[list[list[Word]]] = []
    for name, width in zip(head, widths, strict=True):
        room = max(width, *map(_columns, name.split(" ")))
        names.append(_wrapped(_cell(name), room, 0))
    most = max(map(len, names))
    padded = [[*([] for _ in range(most - len(lines))), *lines] for lines in names]
    return [list(row) for row in zip(*padded, strict=True)]


def _text(words: Iterable[Word]) -> str:
    return "".join(text for text, _ in words)


def _stripped(words: list[Word]) -> list[Word]:
    """Return words without spaces at their end."""
    return _sliced(words, 0, len(_text(words).rstrip(" ")))


def _sliced(words: list[Word], start: int, end: int) -> list[Word]:
    """Return the words from one character to before another, each with its style."""
    parts: list[Word] = []
    first = 0
    for text, style in words:
        part = text[max(start - first, 0) : max(end - first, 0)]
        if part:
            parts.append((part, style))
        first += len(text)
    return parts


def _columns(text: str) -> int:
    """Return how many columns of a terminal a text takes; some characters take two, or none."""
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text.replace(TIED, " "))


def _wrapped(words: list[Word], room: int, indent: int) -> list[list[Word]]:
    """Return the lines of words that fit ``room`` columns; all but the first leave ``indent`` free."""
    text = _text(words)
    return [_sliced(words, start, end) for start, end in _breaks(text, room, max(room - indent, 1))]


def _breaks(text: str, first: int, rest: int) -> Iterator[tuple[int, int]]:
    """Yield where each line of a text starts and ends, without the spaces around a break.

    Parameters
    ----------
    first, rest : columns of the first line, and of each line after it
    """
    start, room = 0, first
    for line in text.split("\n"):
        stop = start + len(line)
        while True:
            end = _fitting(text, start, stop, room)
            if end < stop:
                space = text.rfind(" ", start, end + 1)
                earlier = text.rfind(" ", start, max(space, start))
                if text[start : max(earlier, start)].strip(" ") and _UNIT.match(text, space):
                    space = earlier
                if text[start : max(space, start)].strip(" "):
                    end = space
            yield start, end
            room = rest
            if end == stop:
                break
            start = end
            while start < stop and text[start] == " ":
                start += 1
            if start == stop:
                break
        start = stop + 1


def _fitting(text: str, start: int, stop: int, room: int) -> int:
    """Return the end of the longest part of a text that fits; one character at least."""
    if text.isascii():
        return min(stop, start + room)
    end, used = start, 0
    while end < stop:
        used += _columns(text[end])
        if used > room and end > start:
            break
        end += 1
    return end
