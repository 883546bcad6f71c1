"""A row of a CSV file of steps, and the step that it is."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from itertools import product
from typing import Any

from busbox.basics.errors import InputError, format_value, join_and, join_or, nearest
from busbox.basics.units import parse_span
from busbox.cpu.steps import (
    NO_LIMIT,
    POLL_LIMIT,
    AccessStep,
    Await,
    Handler,
    Mark,
    Named,
    Pause,
    Poll,
    ResetStep,
    Step,
    Target,
    Until,
)
from busbox.formats.kept import check_kept, read_since, shown_since
from busbox.map.addresses import NAME, PIN, address, kept_name, lanes, number
from busbox.map.registers import WORD, show_lanes

HEADER = ["wait", "op", "address", "data", "lanes"]
_PC, _POLL, _TEXT = ["pc"], ["mask", "value", "every", "limit"], ["text"]
_KEPT = ["since", "keep"]
#: Every column, in order.
COLUMNS = [*HEADER, *_PC, *_POLL, *_TEXT, *_KEPT]
#: Columns of a row whose last ones are not needed.
WIDTHS = (6, 10, 11, 13)
#: Every header: the columns behind ``lanes`` may be left out, those of polls together, and
#: those of kept words.
HEADERS = [
    [*HEADER, *(name for group in groups for name in group)]
    for groups in product(([], _PC), ([], _POLL), ([], _TEXT), ([], _KEPT))
]
#: The accesses; whether each is a write.
OPS = {"read": False, "write": True}

Cells = Mapping[str, str]


def step_of(cells: Cells, line: int) -> Step:
    """Return the step of a row.

    Parameters
    ----------
    cells : by column; one that the file does not have is empty

    Raises
    ------
    ValueError : what is wrong with it
    """
    op = cells["op"]
    if op not in _READERS:
        known = list(_READERS)
        raise ValueError(f"op must be {join_or(known)}, not {format_value(op)}{nearest(op, known)}")
    reader, columns = _READERS[op]
    strays = [name for name, cell in cells.items() if cell and name not in columns]
    if strays:
        raise ValueError(f"{join_and(strays)} must be empty: {op} does not use it")
    return reader(cells, line)


def _target(cell: str) -> Target:
    found = NAME.fullmatch(cell)
    return Named(found[1], found[2]) if found else address(cell)


def _pc(cells: Cells) -> int | None:
    return number(cells["pc"], "pc") if cells["pc"] else None


def _access(cells: Cells, line: int) -> Step:
    write, data = OPS[cells["op"]], cells["data"]
    if not data and write:
        raise ValueError("a write needs data; only the data of a read may be empty")
    return AccessStep(
        write,
        _target(cells["address"]),
        number(data, "data") if data else None,
        lanes(cells["lanes"]),
        number(cells["wait"], "wait"),
        _pc(cells),
        line,
        keep=_keep(cells),
    )


def _keep(cells: Cells) -> str | None:
    return kept_name(cells["keep"]) if cells["keep"] else None


def _poll(cells: Cells, line: int) -> Step:
    mask, value, options = _of_poll(cells)
    if value & ~mask:
        raise ValueError(f"poll can never end: {value:#x} has bits outside the mask {mask:#x}")
    return Poll(_target(cells["address"]), value, mask, line=line, **options)


def _until(cells: Cells, line: int) -> Step:
    mask, value, options = _of_poll(cells)
    if value > mask:
        raise ValueError(f"until can never end: {value:#x} is above the mask {mask:#x}")
    since = read_since(cells["since"]) if cells["since"] else 0
    return Until(_target(cells["address"]), value, mask, since=since, line=line, **options)


def _of_poll(cells: Cells) -> tuple[int, int, dict[str, Any]]:
    """Return mask, value and the other options of a poll or an until."""
    mask = number(cells["mask"], "mask") if cells["mask"] else WORD
    limit = number(cells["limit"], "limit") if cells["limit"] else POLL_LIMIT
    if limit == 0:
        raise ValueError("limit must be at least 1, not 0")
    options = {
        "every": number(cells["every"], "every") if cells["every"] else 0,
        "limit": limit,
        "lanes": lanes(cells["lanes"]),
        "wait": number(cells["wait"], "wait"),
        "pc": _pc(cells),
        "keep": _keep(cells),
    }
    return mask, number(cells["value"], "value"), options


def _pause(cells: Cells, line: int) -> Step:
    return Pause(parse_span(cells["wait"]), line)


def _mark(cells: Cells, line: int) -> Step:
    if not cells["text"]:
        raise ValueError("a mark needs text")
    return Mark(cells["text"], line)


def _await(cells: Cells, line: int) -> Step:
    pin, level = cells["text"], cells["value"]
    if not PIN.fullmatch(pin):
        raise ValueError(f"text must be a pin such as levers.in.4, not {format_value(pin)}")
    if level not in ("0", "1"):
        raise ValueError(f"value must be the level of the pin, 0 or 1, not {format_value(level)}")
    limit = parse_span(cells["limit"]) if cells["limit"] else NO_LIMIT
    if limit.cycles == 0 or limit.seconds == 0:
        raise ValueError("limit must be at least one cycle, not 0")
    return Await(pin, int(level), limit, line)


def _reset(cells: Cells, line: int) -> Step:
    return ResetStep(number(cells["wait"], "wait"), line)


_OF_ACCESS = {"wait", "op", "address", "data", "lanes", "pc"}
#: What reads each kind of row, and the columns that it uses.
_READERS: Mapping[str, tuple[Callable[[Cells, int], Step], set[str]]] = {
    "read": (_access, {*_OF_ACCESS, "keep"}),
    "write": (_access, _OF_ACCESS),
    "poll": (_poll, {*_OF_ACCESS, *_POLL, "keep"} - {"data"}),
    "until": (_until, {*_OF_ACCESS, *_POLL, *_KEPT} - {"data"}),
    "pause": (_pause, {"wait", "op"}),
    "mark": (_mark, {"op", "text"}),
    "await": (_await, {"op", "value", "limit", "text"}),
    "reset": (_reset, {"wait", "op"}),
}


def row_of(step: Step, count: int) -> list[str]:
    """Return the row of a step: its cells up to the last column that it needs.

    Parameters
    ----------
    count : the number of the step, for messages

    Raises
    ------
    InputError : it is a handler, or a mark with a text that does not fit on one line
    """
    check_kept(step, count)
    match step:
        case AccessStep() | Poll():
            return _access_row(step)
        case Pause():
            return _row(wait=str(step.span), op="pause")
        case ResetStep():
            return _row(wait=str(step.wait), op="reset")
        case Mark():
            text = step.text
            if text != text.strip() or not text or not text.isprintable():
                raise InputError.of(f"step {count}: CSV cannot hold the mark {text!r}")
            return _row(op="mark", text=_quoted(text))
        case Await():
            limit = "" if step.limit == NO_LIMIT else str(step.limit)
            return _row(op="await", value=str(step.level), limit=limit, text=step.pin)
        case Handler():
            raise InputError.of(f"step {count}: CSV cannot hold a handler")


def _row(**cells: str) -> list[str]:
    wanted = max(COLUMNS.index(name) for name in cells) + 1
    wanted = next(size for size in WIDTHS if size >= wanted)
    return [cells.get(name, "") for name in COLUMNS[:wanted]]


def _access_row(step: AccessStep | Poll) -> list[str]:
    target = f"{step.target:#010x}" if isinstance(step.target, int) else str(step.target)
    pc = "" if step.pc is None else f"{step.pc:#010x}"
    until = isinstance(step, Until)
    kept = [
        "",
        shown_since(step) if isinstance(step, Until) and step.since else "",
        step.keep or "",
    ]
    kept = kept if any(kept) else []
    if isinstance(step, Poll):
        every, limit = (str(step.every), str(step.limit))
        value = str(step.value) if until else f"{step.value:#010x}"
        return [
            str(step.wait), "until" if until else "poll", target, "", show_lanes(step.lanes), pc,
            f"{step.mask:#010x}", value, every, limit, *kept,
        ]  # fmt: skip
    data = "" if step.data is None else f"{step.data:#010x}"
    op = "write" if step.write else "read"
    row = [str(step.wait), op, target, data, show_lanes(step.lanes), pc]
    return [*row, *[""] * 4, *kept] if kept else row


def _quoted(text: str) -> str:
    """Return a cell, in quotes where it needs them."""
    line = io.StringIO()
    csv.writer(line, lineterminator="").writerow([text])
    return line.getvalue()
