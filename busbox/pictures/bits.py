"""The bits of a word as cells, most significant at the left, a space after four: as one writes them."""

from __future__ import annotations

from collections.abc import Iterable

from busbox.pictures.svg import LEADING, MARGIN, SIZE, SMALL, Sheet, text_width

#: Pixels: the narrowest and the widest cell, its height; the space after four cells, and between cells
#: and the texts beside them.
_NARROW, _WIDE, TALL, _APART, _BESIDE = 9.0, 18.0, 18.0, 4.0, 10.0
_NUMBERED = (31, 27, 23, 19, 15, 11, 7, 3, 0)


class BitGrid:
    """Where the cells of 32 bits are on a sheet.

    On a wide sheet the name of a row stands at its left, and what stands at its end at its right; on a
    narrow one the name stands above the row with a number at the end, or in place of a name.

    Parameters
    ----------
    names : of rows
    ends : texts at the right

    Attributes
    ----------
    left, right : the edges of all cells
    cell : width of a cell
    """

    def __init__(self, sheet: Sheet, names: Iterable[str], ends: Iterable[str]) -> None:
        self.sheet = sheet
        name = max(text_width(text, bold=True) for text in names) + _BESIDE
        end = max(text_width(text, bold=True) for text in ends) + _BESIDE
        free = sheet.width - 2 * MARGIN - 7 * _APART
        self._wide = free - name - end >= 32 * _NARROW
        self.left = MARGIN + (name if self._wide else 0.0)
        room = (free - (name + end if self._wide else 0.0)) / 32
        self.cell = float(int(min(_WIDE, max(_NARROW, room))))
        self.right = self.x(0) + self.cell

    def x(self, bit: int) -> float:
        """Return the left edge of a bit's cell."""
        return self.left + (31 - bit) * self.cell + (31 - bit) // 4 * _APART

    def numbers(self, y: float) -> float:
        """Write the numbers of bits; return the y of the row below."""
        for bit in _NUMBERED:
            middle = self.x(bit) + self.cell / 2
            self.sheet.text(middle, y, str(bit), 9, name="grey", anchor="middle", mono=True)
        return y + 6

    def row(
        self, y: float, name: str, end: str = "", *, bold: bool = False, number: bool = False
    ) -> float:
        """Write the name of a row whose top is y, and what stands at its end, a name or a number.

        Returns
        -------
        the top of its cells
        """
        self.sheet.text(MARGIN, y + 13, name, bold=bold)
        size, left = SMALL if number else SIZE, self.right + _BESIDE
        if not self._wide:
            left = MARGIN + text_width(name, bold=bold) + _BESIDE
            end = end if number else ""
        if end:
            self.sheet.text(left, y + 13, end, size, bold=not number, mono=number)
        return y if self._wide else y + LEADING + 1

    def digit(self, bit: int, y: float, value: int, name: str = "ink", halo: bool = False) -> None:
        """Write a bit; ``y`` is the top of its cell; ``halo`` is for a cell with a pattern."""
        self.sheet.text(
            self.x(bit) + (self.cell - 1) / 2, y + 13, str(value), SMALL, name=name,
            anchor="middle", mono=True, halo=halo,
        )  # fmt: skip

    def area(self, bit: int, y: float, name: str) -> None:
        """Draw the cell of a bit in a colour of the palette; ``y`` is its top."""
        self.sheet.area(self.x(bit), y, self.cell - 1, TALL, name)

    def word(self, y: float, word: int) -> None:
        """Write a word; ``y`` is the top of its cells."""
        for bit in range(31, -1, -1):
            self.digit(bit, y, word >> bit & 1)
