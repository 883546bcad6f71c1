"""A table of accesses from elsewhere (CSV): the columns of it that matter, by their names.

``time_us=Time, address:hex=Addr, data:hex=Data, write=R/W`` says which column is what; ``:hex`` marks
numbers that are hexadecimal without ``0x``. A time or cycle is that in which an access began; it counts
as one cycle long, as such a table does not say when it ended.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import IO

from busbox.basics.errors import InputError, format_value, join_or, nearest
from busbox.basics.files import lines_in
from busbox.basics.units import LONGEST_CYCLES, Span, show_clock
from busbox.cpu.steps import AccessStep, Pause
from busbox.formats.contract import Format, Piece
from busbox.formats.waveform.notes import Notes
from busbox.formats.waveform.samples import PICOSECOND, TIME_UNITS, Table, moment
from busbox.map.addresses import lanes, number
from busbox.map.registers import WORD

OPTION = "--columns"
#: When an access began; at most one of them.
WHEN = (*TIME_UNITS, "cycle", "wait")
#: Whether it is a write, and which bytes it selects; one of each at most.
OPS, LANES = ("op", "write", "read"), ("lanes", "strobe", "size")
KEYS = (*WHEN, *OPS, "address", "data", *LANES, "pc")
_HEX = ("address", "data", "strobe", "pc")
_WRITES = {"w": True, "wr": True, "write": True, "r": False, "rd": False, "read": False}
_FLAGS = {"1": True, "true": True, "yes": True, "0": False, "false": False, "no": False}


@dataclass(frozen=True)
class Column:
    """A column that is used: its name, and whether its numbers are hexadecimal without ``0x``."""

    name: str
    hexadecimal: bool = False


def columns_of(text: str) -> dict[str, Column]:
    """Return the columns that an option names, by what they hold.

    Raises
    ------
    InputError : it is not a list of KEY=NAME
    """
    found: dict[str, Column] = {}
    for part in text.split(","):
        key, sign, name = (word.strip() for word in part.partition("="))
        key, colon, form = (word.strip() for word in key.partition(":"))
        if not sign or not name or key not in KEYS:
            text = (
                f"must be KEY=COLUMN with a key {join_or(KEYS)}, not {format_value(part.strip())}"
            )
            raise InputError.of(text + nearest(key, KEYS), OPTION)
        if colon and (form != "hex" or key not in _HEX):
            raise InputError.of(f"only {join_or(f'{one}:hex' for one in _HEX)} is known", OPTION)
        if key in found:
            raise InputError.of(f"{key} is given twice", OPTION)
        found[key] = Column(name, bool(colon))
    return found


def _only(columns: Mapping[str, Column], keys: Iterable[str]) -> str | None:
    """Return which of some keys is given.

    Raises
    ------
    InputError : there are two
    """
    given = [key for key in keys if key in columns]
    if len(given) > 1:
        raise InputError.of(f"{given[0]} cannot be combined with {given[1]}", OPTION)
    return given[0] if given else None


def of_columns(
    columns: Mapping[str, Column],
    clock_hz: int | None,
    inside: Callable[[int], bool] | None,
    tell: Callable[[tuple[str, ...]], None],
) -> Format:
    """Return the format that reads a table of accesses.

    Parameters
    ----------
    clock_hz : the clock whose cycles times become
    inside : returns whether a slot answers at an address; None without a bench
    tell : called with what a reader should know, when a file has been read

    Raises
    ------
    InputError : the columns do not say what an access is
    """
    when, op, selected = (_only(columns, keys) for keys in (WHEN, OPS, LANES))
    if "address" not in columns or op is None:
        raise InputError.of(f"must name address and {join_or(OPS)}", OPTION)
    if when in TIME_UNITS and clock_hz is None:
        text = f"must be given: {when} is a time, which becomes cycles of it"
        raise InputError.of(text, "--clock")

    def read(file: IO[bytes], name: str) -> Iterator[Piece]:
        table = Table(lines_in(file, name), name)
        try:
            places = {key: table.place(column.name) for key, column in columns.items()}
        except ValueError as error:
            raise InputError.of(str(error), OPTION) from None
        notes = Notes()
        reader = _Reader(columns, (when, op, selected), clock_hz, notes)
        times = _Times(inside, notes)
        for line, row in table.rows():
            cells = {key: row[place] for key, place in places.items()}
            try:
                yield from times.steps(*reader.access(cells, line))
            except ValueError as error:
                raise InputError.of(str(error), name, line) from None
        tell(notes.texts())

    return Format("The accesses of a table.", read)


class _Reader:
    """Reads rows."""

    def __init__(
        self,
        columns: Mapping[str, Column],
        kinds: tuple[str | None, str | None, str | None],
        clock_hz: int | None,
        notes: Notes,
    ) -> None:
        self._columns, (self._when, self._op, self._selected) = columns, kinds
        self._clock_hz, self._notes = clock_hz or 0, notes
        notes.clock = show_clock(clock_hz) if clock_hz else ""
        self._last = -1

    def access(self, cells: Mapping[str, str], line: int) -> tuple[AccessStep, int | None]:
        """Return the access of a row, and the cycle in which it began, if that is known.

        Raises
        ------
        ValueError : what is wrong with it
        """
        write = self._is_write(cells)
        address, mask, shift = self._place(cells)
        data = None
        if cells.get("data"):
            data = self._number(cells, "data")
            if shift is not None:
                size = bin(mask).count("1")
                if data >= 1 << 8 * size:
                    raise ValueError(f"data must fit in {size} bytes, not {data:#x}")
                data <<= 8 * shift
        elif write:
            raise ValueError("a write needs data; only the data of a read may be empty")
        pc = self._number(cells, "pc") if cells.get("pc") else None
        wait = number(cells["wait"], "wait") if self._when == "wait" else 0
        return AccessStep(write, address, data, mask, wait, pc, line), self._cycle(cells)

    def _number(self, cells: Mapping[str, str], key: str, most: int = WORD) -> int:
        text = cells[key]
        if self._columns[key].hexadecimal and not text.lower().startswith("0x"):
            text = f"0x{text}"
        return number(text, key, most)

    def _is_write(self, cells: Mapping[str, str]) -> bool:
        assert self._op is not None
        cell = cells[self._op].lower()
        if cell in _WRITES:
            return _WRITES[cell]
        if cell in _FLAGS and self._op != "op":
            return _FLAGS[cell] == (self._op == "write")
        known = join_or([*_WRITES, *(_FLAGS if self._op != "op" else ())])
        raise ValueError(f"{self._op} must be {known}, not {format_value(cells[self._op])}")

    def _place(self, cells: Mapping[str, str]) -> tuple[int, int, int | None]:
        """Return the word's address, the lanes and, if the data are not in lane position, the byte."""
        address = self._number(cells, "address")
        byte = address % 4
        if self._selected == "lanes":
            return address - byte, lanes(cells["lanes"]), None
        if self._selected == "strobe":
            return address - byte, self._number(cells, "strobe", 15), None
        size = number(cells["size"], "size") if self._selected else 4
        if size not in (1, 2, 4):
            raise ValueError(f"size must be 1, 2 or 4 bytes, not {size}")
        if address % size:
            raise ValueError(
                f"the address of {size} bytes must be a multiple of {size}, not {address:#x}"
            )
        return address - byte, ((1 << size) - 1) << byte, byte

    def _cycle(self, cells: Mapping[str, str]) -> int | None:
        if self._when is None or self._when == "wait":
            return None
        if self._when == "cycle":
            cycle = number(cells["cycle"], "cycle", LONGEST_CYCLES)
        else:
            time = moment(cells[self._when], TIME_UNITS[self._when]) * PICOSECOND
            exact: Fraction = time * self._clock_hz
            cycle = -(-exact.numerator // exact.denominator)
            self._notes.moments += 1
            self._notes.rounded += exact.denominator != 1
        if cycle < self._last:
            raise ValueError(f"{self._when} must not be below the one in the row before")
        self._last = cycle
        return cycle


class _Times:
    """Turns cycles into waits; each access counts as one cycle long."""

    def __init__(self, inside: Callable[[int], bool] | None, notes: Notes) -> None:
        self._inside, self._notes = inside, notes
        self._free, self._cycle, self._any = 1, 1, False

    def steps(self, step: AccessStep, cycle: int | None) -> Iterator[AccessStep | Pause]:
        """Yield the steps of one access."""
        begin = self._cycle + step.wait if cycle is None else cycle
        self._cycle = max(begin + 1, self._cycle)
        assert isinstance(step.target, int)
        if self._inside is not None and not self._inside(step.target):
            self._notes.outside += 1
            return
        wait = begin - self._free
        if wait < 0:
            self._notes.in_first_cycle |= not self._any
            self._notes.overlapping += self._any
            wait = 0
        self._any = True
        self._free += wait + 1
        if wait > WORD:
            yield Pause(Span(cycles=wait))
            wait = 0
        yield AccessStep(step.write, step.target, step.data, step.lanes, wait, step.pc, step.line)
