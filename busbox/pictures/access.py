"""One access with its bus signals, cycle by cycle.

A timetable: a column a cycle, a row a signal, and a row of words on top that says what the cycle is
for. A cycle in which a signal is high is filled, one in which it is low is empty; waiting cycles are
hatched. A long wait is folded to one column that says how many cycles it stands for. Cycles before and
after are shown where the bus is idle or another access uses it, which is named.
"""

from __future__ import annotations

from dataclasses import dataclass

from busbox.bus.transfers import ACK, ERR, NONE, RESET, WATCHDOG
from busbox.map.slots import AddressMap
from busbox.pictures.svg import LEADING, MARGIN, SMALL, Look, Sheet, text_width
from busbox.recording import Recording

#: Waiting cycles that are all shown; of more, the first and the last two are.
_ALL_SHOWN = 6
_TALL, _APART, _NARROW, _WIDE = 24.0, 8.0, 60.0, 96.0
_LABEL = 64.0
#: The row of words, for the cycle in which an access ends.
_ENDS = {
    ACK: "ends: ACK",
    ERR: "ends: ERR",
    WATCHDOG: "ends: ERR",
    RESET: "cut off",
    NONE: "still open",
}
_WHY = {
    WATCHDOG: "The watchdog ended it.",
    RESET: "A reset cut it off.",
    NONE: "The run ended before it did.",
}


@dataclass(frozen=True)
class Column:
    """One or more cycles of the picture: ``kind`` is idle, other, waits, ends or folded."""

    first: int
    count: int
    kind: str
    access: int = -1

    @property
    def head(self) -> str:
        """What stands on top."""
        return f"{self.first:,}" if self.count == 1 else f"{self.count:,} cycles"


def access_picture(
    recording: Recording, number: int, look: Look, address_map: AddressMap | None = None
) -> str:
    """Return one access with its bus signals as SVG.

    Parameters
    ----------
    number : of the access, from 0
    address_map : for the name of its register, or None

    Raises
    ------
    IndexError : there is no such access
    TooNarrow : it does not fit
    """
    if not 0 <= number < len(recording.accesses):
        raise IndexError(f"access must be 0 to {len(recording.accesses) - 1}, not {number}")
    sheet = Sheet(look)
    title, about = _said(recording, number, address_map)
    room = sheet.width - 2 * MARGIN - _LABEL
    columns = columns_of(recording, number, int(room / _NARROW))
    top = sheet.heading(title, about) + 10
    wide = float(int(min(_WIDE, max(_NARROW, _widest(columns), room / len(columns)))))
    ends = _ENDS[int(recording.accesses.terminator[number])]
    if text_width(ends, SMALL, bold=True) > wide:
        ends = ends.removeprefix("ends: ")
    y = _heads(sheet, columns, wide, top, ends)
    for name, values in _signals(recording, number):
        _signal(sheet, columns, wide, y, name, values)
        y += _TALL + _APART
    y = sheet.legend(
        y + 6,
        [("blue", "high, or valid"), ("orange", "waiting"), ("grey", "low, or another access")],
    )
    return sheet.svg(y + MARGIN - 6, title, about)


def columns_of(recording: Recording, number: int, most: int = 9) -> list[Column]:
    """Return the columns: the cycle before, each cycle of the access, the cycle after.

    Parameters
    ----------
    most : columns for which there is room; where it is too little for waits, they are all one column
    """
    accesses = recording.accesses
    start, end = int(accesses.start[number]), int(accesses.end[number])
    columns = [_beside(recording, start - 1, number - 1)] if start else []
    waits = end - start
    if waits > 1 and min(waits, _ALL_SHOWN - 1) + 3 > most:
        columns.append(Column(start, waits, "folded"))
    elif waits <= _ALL_SHOWN:
        columns += [Column(cycle, 1, "waits") for cycle in range(start, end)]
    else:
        columns += [Column(start, 1, "waits"), Column(start + 1, 1, "waits")]
        columns.append(Column(start + 2, waits - 4, "folded"))
        columns += [Column(end - 2, 1, "waits"), Column(end - 1, 1, "waits")]
    columns.append(Column(end, 1, "ends"))
    if end + 1 < recording.cycles:
        columns.append(_beside(recording, end + 1, number + 1))
    return columns


def _beside(recording: Recording, cycle: int, other: int) -> Column:
    """Return the column of a cycle next to the access: idle, or of the access before or after."""
    accesses = recording.accesses
    if 0 <= other < len(accesses) and accesses.start[other] <= cycle <= accesses.end[other]:
        return Column(cycle, 1, "other", other)
    return Column(cycle, 1, "idle")


def _said(recording: Recording, number: int, address_map: AddressMap | None) -> tuple[str, str]:
    """Return the title, and the words below it."""
    accesses = recording.accesses
    address, slot = int(accesses.address[number]), int(accesses.slot[number])
    where = f"{address:#010x}"
    if address_map is not None and (register := address_map.decode(address).register):
        where = f"{register}, {where}"
    elif slot >= 0:
        where = f"{recording.slots[slot].name}, {where}"
    else:
        where += ", where no slot answers"
    what = "write to" if accesses.write[number] else "read of"
    waits = int(accesses.end[number] - accesses.start[number])
    terminator = int(accesses.terminator[number])
    about = (
        f"{'1 cycle waits' if waits == 1 else f'{waits:,} cycles wait'}, then the access "
        f"{'ends with ' + _ENDS[terminator][6:] if terminator < RESET else 'does not end'}. "
        f"{_WHY.get(terminator, '')}"
    )
    return f"Access {number:,}: {what} {where}", about


def _signals(recording: Recording, number: int) -> list[tuple[str, dict[str, str | bool]]]:
    """Return the rows: name of a signal, and what it is in the cycles of a kind.

    A word is a value, True is high, False is low. RST masks all of them in the cycle of a cut
    (semantics page, rule 15).
    """
    accesses = recording.accesses
    write, terminator = bool(accesses.write[number]), int(accesses.terminator[number])
    data = f"{int(accesses.data[number]):08x}"

    def steady(value: str | bool) -> dict[str, str | bool]:
        return {"waits": value, "folded": value, "ends": terminator != RESET and value}

    rows: list[tuple[str, dict[str, str | bool]]] = [
        ("CYC, STB", steady(True)),
        ("WE", steady(write)),
        ("ADR", steady(f"{int(accesses.address[number]):08x}")),
        ("SEL", steady(f"{int(accesses.lanes[number]):04b}")),
    ]
    if write:
        rows.append(("DAT_W", steady(data)))
    elif terminator == ACK:
        rows.append(("DAT_R", {"ends": data}))
    rows.append(("ACK", {"ends": terminator == ACK}))
    rows.append(("ERR", {"ends": terminator in (ERR, WATCHDOG)}))
    return rows


def _widest(columns: list[Column]) -> float:
    texts = [text_width(column.head, SMALL, mono=True) for column in columns]
    return max([text_width("still open", SMALL), *texts]) + 4


def _heads(sheet: Sheet, columns: list[Column], wide: float, y: float, ends: str) -> float:
    sheet.text(MARGIN, y, "cycle", SMALL, name="grey")
    for place, column in enumerate(columns):
        middle = MARGIN + _LABEL + (place + 0.5) * wide
        words = {"idle": "idle", "other": f"access {column.access:,}", "ends": ends}
        sheet.text(middle, y, column.head, SMALL, anchor="middle", mono=True)
        left, top = middle - wide / 2, y + 8
        if column.kind in ("waits", "folded"):
            sheet.area(left + 1, top, wide - 2, 8, "orange")
        word = words.get(column.kind, "waits")
        bold = column.kind == "ends"
        sheet.text(middle, top + 8 + LEADING - 3, word, SMALL, anchor="middle", bold=bold)
    return y + 8 + 8 + LEADING + 6


def _signal(
    sheet: Sheet, columns: list[Column], wide: float, y: float, name: str,
    values: dict[str, str | bool],
) -> None:  # fmt: skip
    left = MARGIN + _LABEL
    sheet.text(MARGIN, y + 16, name, SMALL, mono=True)
    for place, column in enumerate(columns):
        x, value = left + place * wide, values.get(column.kind, False)
        if value is False or column.kind == "other":
            if column.kind == "other":
                sheet.area(x + 1, y, wide - 2, _TALL, "grey")
            else:
                sheet.line([(x + 1, y + _TALL), (x + wide - 1, y + _TALL)], "grey")
            continue
        sheet.area(x + 1, y, wide - 2, _TALL, "blue")
        if isinstance(value, str):
            sheet.text(x + wide / 2, y + 16, value, SMALL, name="paper", anchor="middle", mono=True)
