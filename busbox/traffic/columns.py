"""The CSV format: one access a row, under the header ``wait,op,address,data,lanes[,pc]``.

``address`` is word-aligned, ``data`` stands in lane position (empty for a read: nothing is
compared), ``lanes`` are four binary digits, SEL(3) first. ``;`` as separator is read too.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator

from busbox.errors import InputError, Mistake, nearest, shown
from busbox.registers import show_lanes
from busbox.traffic.numbers import address, lanes, number
from busbox.traffic.steps import Access, Step
from busbox.traffic.text import limited

HEADER = ["wait", "op", "address", "data", "lanes"]
_OPS = {"read": False, "write": True}


def read_csv(lines: Iterable[str], where: str) -> Iterator[Step]:
    """Yield the accesses of a CSV text.

    Raises
    ------
    InputError : with every row that is no access
    """
    texts = iter(lines)
    first = next(texts, "").rstrip("\r\n")
    separator = ";" if ";" in first else ","
    header = [name.strip() for name in first.split(separator)]
    if header not in (HEADER, [*HEADER, "pc"]):
        raise InputError.of(
            f"the first line must be {','.join(HEADER)} or {','.join(HEADER)},pc, "
            f"not {shown(first)}",
            where,
            1,
        )
    mistakes: list[Mistake] = []
    rows = csv.reader(texts, delimiter=separator)
    while True:
        try:
            row = next(rows, None)
            if row is None:
                break
            step = _access(row, header, rows.line_num + 1)
        except csv.Error:
            mistakes.append(Mistake("a cell is too long", where, rows.line_num + 1))
            continue
        except ValueError as error:
            mistakes.append(Mistake(str(error), where, rows.line_num + 1))
            continue
        if step is not None and not mistakes:
            yield step
    if mistakes:
        raise InputError(limited(mistakes, where))


def _access(row: list[str], header: list[str], line: int) -> Access | None:
    row = [cell.strip() for cell in row]
    if not any(row):
        return None
    if len(row) != len(header):
        raise ValueError(
            f"a row must have {len(header)} cells ({', '.join(header)}), not {len(row)}"
        )
    wait, op, place, data, selected = row[:5]
    if op not in _OPS:
        raise ValueError(f"op must be read or write, not {shown(op)}{nearest(op, list(_OPS))}")
    if not data and _OPS[op]:
        raise ValueError("data of a write must be given; only that of a read may be empty")
    pc = row[5] if len(header) > 5 else ""
    return Access(
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
    InputError : a step that is no access by number; the format cannot hold it
    """
    yield ",".join([*HEADER, "pc"])
    for count, step in enumerate(steps, start=1):
        if not isinstance(step, Access):
            raise InputError.of(
                f"step {count}: CSV holds accesses only, not a {type(step).__name__.lower()}"
            )
        if not isinstance(step.target, int):
            raise InputError.of(
                f"step {count}: CSV holds addresses only, not the name {step.target}"
            )
        data = "" if step.data is None else f"{step.data:#010x}"
        pc = "" if step.pc is None else f"{step.pc:#010x}"
        op = "write" if step.write else "read"
        yield f"{step.wait},{op},{step.target:#010x},{data},{show_lanes(step.lanes)},{pc}"
