"""Lines of styled words: printed plainly, or with rich where the output is a terminal.

Words from users never go through a mark-up language: what they wrote is what is printed.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from typing import TextIO

#: A word and its style (a rich style such as ``bold`` or ``on #ff0000``; "" for none).
Word = tuple[str, str]


class Paper:
    """Collects lines and prints them.

    Attributes
    ----------
    colours : whether the output shows colours
    """

    def __init__(self, colours: bool = False) -> None:
        self.colours = colours
        self._lines: list[list[Word]] = []

    def line(self, *words: str | Word) -> None:
        """Add a line; a plain string is a word without style."""
        self._lines.append([(word, "") if isinstance(word, str) else word for word in words])

    def title(self, text: str) -> None:
        """Add an empty line and a heading."""
        if self._lines:
            self.line()
        self.line((text, "bold"))

    def table(self, rows: Iterable[Sequence[object]], numbers: Sequence[int] = ()) -> None:
        """Add rows of cells in columns; ``numbers`` are the columns aligned to the right."""
        cells = [[str(cell) for cell in row] for row in rows]
        if not cells:
            return
        widths = [max(len(row[place]) for row in cells) for place in range(len(cells[0]))]
        for row in cells:
            parts = [
                cell.rjust(width) if place in numbers else cell.ljust(width)
                for place, (cell, width) in enumerate(zip(row, widths, strict=True))
            ]
            self.line(("  " + "  ".join(parts)).rstrip())

    @property
    def text(self) -> str:
        """Everything as plain text."""
        return "".join("".join(word for word, _ in line).rstrip() + "\n" for line in self._lines)

    def print(self, file: TextIO | None = None) -> None:
        """Print everything to a file, standard output if it is None."""
        if not self.colours:
            (file or sys.stdout).write(self.text)
            return
        from rich.console import Console
        from rich.text import Text

        console = Console(file=file, highlight=False, soft_wrap=True)
        for line in self._lines:
            console.print(Text.assemble(*line))
