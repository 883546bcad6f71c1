"""The CSV format: one access per row. ``busbox guide csv`` has its grammar and its columns."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator
from itertools import chain, islice

from busbox.basics.errors import InputError, Mistake, format_value, limited, nearest
from busbox.cpu.steps import AccessStep, Await, Handler, Mark, Pause, Poll, ResetStep, Step
from busbox.cpu.table import AccessTable
from busbox.formats.contract import Format
from busbox.map.addresses import address, lanes, number
from busbox.map.registers import show_lanes

HEADER = ["wait", "op", "address", "data", "lanes"]
_OPS = {"read": False, "write": True}
#: What messages call the steps that are not accesses.
_KINDS: dict[type, str] = {
    Poll: "a poll",
    Pause: "a pause",
    Mark: "a mark",
    Await: "an await",
    ResetStep: "a reset",
    Handler: "a handler",
}


#: Rows that are read at once, and distinct texts that are remembered.
ROWS, REMEMBERED = 1 << 12, 1 << 16


def read_csv(lines: Iterable[str], where: str) -> Iterator[Step | AccessTable]:
    """Yield the accesses of a CSV text: as tables until a row is unusual, then one by one.

    Raises
    ------
    InputError : lists every row that is not an access
    """
    texts = iter(lines)
    first = next(texts, "").rstrip("\r\n")
    separator = ";" if ";" in first else ","
    header = [name.strip() for name in first.split(separator)]
    if header not in (HEADER, [*HEADER, "pc"]):
        raise InputError.of(
            f"the first line must be {','.join(HEADER)} or {','.join(HEADER)},pc, "
            f"not {format_value(first)}",
            where,
            1,
        )
    count, reader = 1, _Reader(separator, len(header))
    while chunk := list(islice(texts, ROWS)):
        table = reader.table(chunk, count + 1)
        if table is None:
            yield from _read_rows(chain(chunk, texts), header, separator, where, count)
            return
        count += len(chunk)
        yield table


class _Reader:
    """Reads plain rows fast: each distinct text of a column is parsed once."""

    def __init__(self, separator: str, width: int) -> None:
        self._separator, self._width = separator, width
        self._wait = _Remembered(lambda text: number(text, "wait"))
        self._address = _Remembered(address)
        self._data = _Remembered(lambda text: number(text, "data") if text else -1)
        self._lanes = _Remembered(lanes)
        self._pc = _Remembered(lambda text: number(text, "pc") if text else -1)

    def table(self, chunk: list[str], first: int) -> AccessTable | None:
        """Return rows as a table, or None if one of them needs a closer look."""
        rows = [line.split(self._separator) for line in chunk]
        if any(len(row) != self._width or '"' in row[0] for row in rows):
            return None
        cells: list[tuple[str, ...]] = list(zip(*rows, strict=True))
        wait, op, place, data, selected, *pc = cells
        try:
            columns = {
                "write": [_OPS[cell] for cell in op],
                "address": [self._address[cell] for cell in place],
                "data": [self._data[cell] for cell in data],
                "lanes": [self._lanes[cell] for cell in selected],
                "wait": [self._wait[cell] for cell in wait],
                "pc": [self._pc[cell] for cell in pc[0]] if pc else [-1] * len(rows),
                "line": range(first, first + len(rows)),
            }
        except (KeyError, ValueError):
            return None
        table = AccessTable(columns)
        missing = (table["write"] == 1) & (table["data"] < 0)
        return None if missing.any() else table


class _Remembered(dict[str, int]):
    """The values of texts, each parsed once."""

    def __init__(self, meaning: Callable[[str], int]) -> None:
        self._meaning = meaning

    def __missing__(self, text: str) -> int:
        if len(self) >= REMEMBERED:
            self.clear()
        value = self[text] = self._meaning(text)
        return value


def _read_rows(
    texts: Iterable[str], header: list[str], separator: str, where: str, before: int
) -> Iterator[Step]:
    """Yield the accesses of rows, one by one; ``before`` lines precede them."""
    mistakes: list[Mistake] = []
    rows = csv.reader(texts, delimiter=separator)
    while True:
        try:
            row = next(rows, None)
            if row is None:
                break
            step = _access(row, header, before + rows.line_num)
        except csv.Error:
            mistakes.append(Mistake("a cell is too long", where, before + rows.line_num))
            continue
        except ValueError as error:
            mistakes.append(Mistake(str(error), where, before + rows.line_num))
            continue
        if step is not None and not mistakes:
            yield step
    if mistakes:
        raise InputError(limited(mistakes, where))


def _access(row: list[str], header: list[str], line: int) -> AccessStep | None:
    row = [cell.strip() for cell in row]
    if not any(row):
        return None
    if len(row) != len(header):
        raise ValueError(
            f"a row must have {len(header)} cells ({', '.join(header)}), not {len(row)}"
        )
    wait, op, place, data, selected = row[:5]
    if op not in _OPS:
        raise ValueError(
            f"op must be read or write, not {format_value(op)}{nearest(op, list(_OPS))}"
        )
    if not data and _OPS[op]:
        raise ValueError("a write needs data; only the data of a read may be empty")
    pc = row[5] if len(header) > 5 else ""
    return AccessStep(
        _OPS[op],
        address(place),
        number(data, "data") if data else None,
        lanes(selected),
        number(wait, "wait"),
        number(pc, "pc") if pc else None,
        line,
    )


def write_csv(steps: Iterable[Step]) -> Iterator[str]:
    """Yield the lines of a CSV text.

    Raises
    ------
    InputError : a step that is not an access by number, which the format cannot hold
    """
    yield ",".join([*HEADER, "pc"])
    for count, step in enumerate(steps, start=1):
        if not isinstance(step, AccessStep):
            raise InputError.of(f"step {count}: CSV holds accesses only, not {_KINDS[type(step)]}")
        if not isinstance(step.target, int):
            raise InputError.of(
                f"step {count}: CSV holds addresses only, not the name {step.target}"
            )
        data = "" if step.data is None else f"{step.data:#010x}"
        pc = "" if step.pc is None else f"{step.pc:#010x}"
        op = "write" if step.write else "read"
        yield f"{step.wait},{op},{step.target:#010x},{data},{show_lanes(step.lanes)},{pc}"


CSV = Format.of_lines("One access per row, by number.", read_csv, write_csv)
