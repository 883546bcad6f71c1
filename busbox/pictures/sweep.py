"""The variants of a sweep as a field of cells: which are well, and which are not.

The key with most values runs to the right, one row is one combination of the other keys: a border
between good and bad values is a line that the eye follows. Where the values do not fit side by side,
the field goes on below, like text. A cell says how many findings its variant has; the rules behind them
and the reasons of variants that could not be run stand below in words.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Protocol

from busbox.basics.listing import counted
from busbox.pictures.svg import LEADING, MARGIN, SMALL, Look, Sheet, text_width

#: Variants that are drawn, at most.
MOST_VARIANTS = 10_000
_TALL, _NARROW, _WIDE, _APART = 20.0, 16.0, 96.0, 10.0

Row = Mapping[str, Any]


class Table(Protocol):
    """A sweep, or its table read from a file."""

    @property
    def columns(self) -> tuple[str, ...]:
        """Names: keys, measures, ``message``."""

    @property
    def rows(self) -> tuple[Row, ...]:
        """One a variant."""


def sweep_picture(table: Table, keys: Sequence[str], look: Look) -> str:
    """Return the variants of a sweep as SVG.

    Parameters
    ----------
    keys : the columns that are keys of the bench

    Raises
    ------
    ValueError : there is no variant, no key, or too much of them; findings were not measured
    TooNarrow : the values of the keys do not fit
    """
    rows = table.rows
    if not 0 < len(rows) <= MOST_VARIANTS:
        raise ValueError(f"variants must be 1 to {MOST_VARIANTS:,}, not {len(rows):,}")
    if "findings" not in table.columns:
        raise ValueError("measures must have findings: the cells show how many there are")
    if not keys:
        raise ValueError("keys must be at least one, not none")
    return _Field(table, keys, look).drawn()


def kind_of(row: Row) -> str:
    """Return the colour of a variant's cell."""
    if row["message"]:
        return "grey"
    met, wanted = row.get("met"), row.get("expectations")
    if row.get("findings") or (met is not None and wanted is not None and met != wanted):
        return "orange"
    return "blue" if row.get("certain_until") is None else "purple"


def _meanings(columns: Sequence[str]) -> dict[str, str]:
    """Return what each colour means, by what was measured."""
    met = {"met", "expectations"} <= {*columns}
    return {
        "blue": "no findings" + (", all expectations met" if met else ""),
        "orange": "findings, how many" + ("; or an expectation not met" if met else ""),
        "purple": "no findings, but not certain to the end",
        "grey": "could not be run",
    }


class _Field:
    """Where the cells are."""

    def __init__(self, table: Table, keys: Sequence[str], look: Look) -> None:
        self.rows, self.sheet = table.rows, Sheet(look)
        self.meanings = _meanings(table.columns)
        counts = {key: len({_label(row[key]) for row in self.rows}) for key in keys}
        self.across = max(keys, key=lambda key: counts[key])
        self.down = [key for key in keys if key != self.across]
        self.values = list(dict.fromkeys(_label(row[self.across]) for row in self.rows))
        self.cells: dict[str, dict[str, Row]] = {}
        for row in self.rows:
            name = ", ".join(_label(row[key]) for key in self.down)
            self.cells.setdefault(name, {})[_label(row[self.across])] = row
        widest = max(text_width(name, SMALL) for name in self.cells)
        self.left = MARGIN + (widest + 12 if self.down else 0.0)
        room = look.width - MARGIN - self.left
        label = max(text_width(value, SMALL) for value in self.values) + 8
        whole = label * len(self.values) <= room
        self.wide = min(_WIDE, room / len(self.values)) if whole else _NARROW
        self.wide = float(max(_NARROW, int(self.wide)))
        self.fit = max(1, int(room // self.wide))

    def drawn(self) -> str:
        """Return the picture."""
        kinds = [kind_of(row) for row in self.rows]
        title = f"Sweep: {counted(len(self.rows), 'variant')}, {kinds.count('blue'):,} well"
        rows = f" Down: {', '.join(self.down)}." if self.down else ""
        y = self.sheet.heading(title, f"To the right: {self.across}.{rows}") + 6
        for first in range(0, len(self.values), self.fit):
            y = self._block(self.values[first : first + self.fit], y) + _APART
        y = self.sheet.legend(y, self._legend(kinds)) + 12
        notes = list(_notes(self.rows))
        for note in notes:
            y = self.sheet.words(MARGIN, y, note, self.sheet.width - 2 * MARGIN, SMALL) + 2
        counts = "; ".join(f"{said}: {kinds.count(name):,}" for name, said in self._legend(kinds))
        return self.sheet.svg(y + MARGIN - LEADING + 6, title, " ".join([f"{counts}.", *notes]))

    def _legend(self, kinds: Sequence[str]) -> list[tuple[str, str]]:
        return [(name, said) for name, said in self.meanings.items() if name in kinds]

    def _block(self, values: Sequence[str], y: float) -> float:
        """Draw the cells of some values, with all that goes down."""
        y += SMALL
        free = 0.0
        for place, value in enumerate(values):
            middle = self.left + (place + 0.5) * self.wide
            wide = text_width(value, SMALL)
            start = max(self.left, middle - wide / 2)
            if start >= free and start + wide <= self.sheet.width - MARGIN:
                self.sheet.text(start, y, value, SMALL)
                self.sheet.line([(middle, y + 3), (middle, y + 6)], "grey")
                free = start + wide + 8
        y += 8
        for name, cells in self.cells.items():
            self.sheet.text(MARGIN, y + 14, name, SMALL)
            for place, value in enumerate(values):
                if value in cells:
                    self._cell(cells[value], self.left + place * self.wide, y)
            y += _TALL
        return y

    def _cell(self, row: Row, x: float, y: float) -> None:
        kind, count = kind_of(row), row.get("findings") or 0
        self.sheet.area(x + 1, y + 1, self.wide - 2, _TALL - 2, kind)
        text = f"{count:,}" if kind == "orange" and count else ""
        if text and text_width(text, SMALL) <= self.wide - 4:
            middle = x + self.wide / 2
            self.sheet.text(middle, y + 14, text, SMALL, anchor="middle", halo=True)


def _label(value: object) -> str:
    return ("false", "true")[value] if isinstance(value, bool) else str(value)


def _notes(rows: Sequence[Row]) -> Iterator[str]:
    """Yield which rules have findings, and why variants were not run."""
    of_all = f"of {counted(len(rows), 'variant')}"
    rules: dict[str, int] = {}
    for row in rows:
        for entry in str(row.get("rules") or "").split(", "):
            if entry:
                rule = entry.rpartition(" ")[0]
                rules[rule] = rules.get(rule, 0) + 1
    for rule, count in rules.items():
        yield f"{rule}: in {count:,} {of_all}."
    messages = [str(row["message"]).splitlines()[0] for row in rows if row["message"]]
    for message in dict.fromkeys(messages):
        yield f"not run, {messages.count(message):,} {of_all}: {message}"
