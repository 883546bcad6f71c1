"""Refuses Verilog that no engine runs, by file and line; notes what is ignored."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from busbox.basics.errors import InputError, Mistake, limited
from busbox.verilog.netlist import Cell, Netlist, place_of
from busbox.verilog.operators import OPERATORS
from busbox.verilog.statements import MEMORY, REGISTER

#: Cells that only say something.
SILENT = ("$print", "$check", "$assert", "$assume", "$live", "$fair", "$cover", "$scopeinfo")
#: A bit or a part of a signal, behind its name.
_BITS = r"(?: \[[\d:]+\])?"
_SEVERAL = re.compile(rf"multiple conflicting drivers for (?:\S*?\.\\?(\S+?){_BITS}:?$)?")
_HIDDEN = re.compile(r"\$\w+\$(.*):(\d+)\$\d+_\w+$")
#: The result of an operator, as the front end names it.
_RESULT = re.compile(r"\$\w+\$(.*):(\d+)\$\d+_Y$")
_LOOP, _CONSTANT = "found logic loop", "Drivers conflicting with a constant"
_UNDRIVEN = re.compile(rf"Wire \S*?\.\\?(\S+){_BITS} is used but has no driver\.?$")
_LATCHES = ("$dlatch", "$adlatch", "$dlatchsr", "$sr")
#: Registers with what the front end turns into plain ones.
_REGISTERS = (
    "$dff", "$dffe", "$adff", "$adffe", "$sdff", "$sdffe", "$sdffce", "$dffsr", "$dffsre",
    "$aldff", "$aldffe",
)  # fmt: skip
_MEMORIES = ("$mem_v2", "$memrd_v2", "$memwr_v2", "$meminit_v2", "$memrd", "$memwr", "$meminit")
_DELAY = re.compile(
    r"(?:(?P<before>[=;)]|\b(?:begin|else|assign|always|initial|forever|do))\s*)#\s*[\d(\w.`]"
)
_NOT_CODE = re.compile(r'"(?:[^"\\\n]|\\.)*"|//[^\n]*|/\*.*?\*/', re.DOTALL)


def check_warnings(warnings: Iterable[Mistake], netlist: Netlist, folder: Path) -> None:
    """Refuse what the front end only warns of, but no hardware can do.

    Raises
    ------
    InputError : a signal has several drivers, or there is a combinational loop
    """
    found = []
    for one in warnings:
        several = _SEVERAL.match(one.text)
        if several:
            name = several[1] or ""
            hidden = _HIDDEN.match(name)
            told = f"signal {name}" if name and not hidden else "a signal"
            text = f"{told} has more than one driver"
            source = next((net.source for net in netlist.nets if net.name == name), "")
            # In the names that it makes up, the front end writes a space as $20.
            file, line = (
                (hidden[1].replace("$20", " "), int(hidden[2])) if hidden else place_of(source)
            )
            found.append(Mistake(text, str(folder / file) if file else "", line))
        elif one.text.startswith(_CONSTANT):
            text = "a signal that is tied to a constant has another driver; remove one of them"
            found.append(replace(one, text=text))
        elif (undriven := _UNDRIVEN.match(one.text)) and (result := _RESULT.match(undriven[1])):
            # An expression of itself, such as a = ~a: the front end has dropped what computes it.
            text = "a combinational loop; put a register into it"
            found.append(Mistake(text, str(folder / result[1].replace("$20", " ")), int(result[2])))
        elif one.text.startswith(_LOOP):
            found.append(replace(one, text="a combinational loop; put a register into it"))
    if found:
        raise InputError(limited(found, ""))


def check(netlist: Netlist, clock: str, folder: Path) -> None:
    """Refuse what no engine runs.

    Parameters
    ----------
    netlist : with its processes made into registers
    clock : the port that is the clock; "" if it has none

    Raises
    ------
    InputError : every mistake, by file and line
    """
    found = dict.fromkeys([*_mistakes(netlist, clock), *_clock_as_data(netlist, clock)])
    placed = [Mistake(text, str(folder / file) if file else "", line) for text, file, line in found]
    if placed:
        raise InputError(limited(placed, ""))


def _mistakes(netlist: Netlist, clock: str) -> Iterator[tuple[str, str, int | None]]:
    known = {*OPERATORS, *_REGISTERS, *_MEMORIES, *SILENT, MEMORY, REGISTER}
    for cell in netlist.cells.values():
        text = _problem(netlist, cell, clock, known)
        if text:
            yield text, *cell.place


def _problem(netlist: Netlist, cell: Cell, clock: str, known: set[str]) -> str:
    driven = [bit for key in netlist.outputs.get(cell.name, ()) for bit in cell.connections[key]]
    name = next(
        (netlist.named[bit][0] for bit in driven if isinstance(bit, int) and bit in netlist.named),
        "",
    )
    what = f" {name}" if name else ""
    if cell.kind in _LATCHES:
        return (
            f"signal{what} is a latch, because some branch does not assign it; assign it in every "
            "branch, or clock it"
        )
    if cell.kind in ("$tribuf", "$_TBUF_"):
        return _tristate(name)
    if any("z" in bits for bits in cell.connections.values()):
        return _tristate(name)
    if cell.kind in _REGISTERS or cell.kind in ("$mem_v2", "$memwr_v2"):
        return _clocked(netlist, cell, clock, what)
    if cell.kind not in known:
        if not cell.kind.startswith("$"):
            return (
                f"module {cell.kind} is not defined in the given files; add its file to files under "
                "[slot.NAME.verilog]"
            )
        return f"{cell.kind.removeprefix('$')} is not supported"
    return ""


def _clock_as_data(netlist: Netlist, clock: str) -> Iterator[tuple[str, str, int | None]]:
    """Yield where the clock is used as data: it has no level within a cycle."""
    if not clock:
        return
    (bit,) = netlist.ports[clock].bits
    text = f"clock {clock} is used as data; use it only as a clock: it has no level within a cycle"
    for cell in netlist.cells.values():
        keys = [key for key in cell.connections if key not in ("CLK", "WR_CLK", "RD_CLK", "TRG")]
        if cell.kind not in SILENT and any(bit in cell.connections[key] for key in keys):
            yield text, *cell.place
    for port in netlist.ports.values():
        if port.direction == "output" and bit in port.bits:
            source = next(net.source for net in netlist.nets if net.name == port.name)
            yield text, *place_of(source)


def _tristate(name: str) -> str:
    what = f" {name}" if name else ""
    return (
        f"signal{what} is a tristate; always drive it, and make its enable a second output (NAME and "
        "NAME_enable)"
    )


def _clocked(netlist: Netlist, cell: Cell, clock: str, what: str) -> str:
    is_memory = cell.kind == MEMORY
    if is_memory and not cell.number("WR_PORTS"):
        return ""
    bits = cell.connections.get("WR_CLK" if is_memory else "CLK", ())
    allowed = netlist.ports[clock].bits[0] if clock else None
    for bit in bits:
        if bit != allowed:
            if not clock:
                return (
                    f"register{what} has a clock, but no port was recognised as the clock; name it "
                    'under ports, such as clock = "clk_25"'
                )
            other = (
                netlist.named.get(bit, ("another signal", 0))[0] if isinstance(bit, int) else bit
            )
            return (
                f"register{what} is clocked by {other}; clock it by {clock}: a slot has one clock"
            )
    rising = cell.parameters.get("WR_CLK_POLARITY" if is_memory else "CLK_POLARITY", "1")
    if ("0" in rising) if is_memory else ("1" not in rising):
        return f"register{what} changes at the falling edge; use posedge, the only edge of a slot"
    return ""


def shown(warning: Mistake) -> str:
    """Return a warning of the front end as a note, without the full stop."""
    undriven = _UNDRIVEN.match(warning.text)
    if undriven:
        name = "a signal" if undriven[1].startswith("$") else f"signal {undriven[1]}"
        text = f"{name} is used, but has no driver: its bits are undefined"
        return str(replace(warning, text=text))
    return str(warning).rstrip(".:")


def left_out(netlist: Netlist, texts: dict[str, str]) -> Iterator[str]:
    """Yield notes on what is ignored: system tasks and delays.

    Parameters
    ----------
    texts : the files, by name
    """
    printing = {place_text(cell) for cell in netlist.of_kind("$print")}
    if printing:
        yield f"the output of system tasks in {_lines(printing)} is ignored"
    checking = {
        place_text(cell)
        for cell in netlist.of_kind("$check", "$assert", "$assume", "$live", "$fair", "$cover")
    }
    if checking:
        yield f"the checks in {_lines(checking)} are ignored"
    delays = {
        f"{file}:{text.count(chr(10), 0, found.start()) + 1}"
        for file, text in texts.items()
        for found in _DELAY.finditer(_NOT_CODE.sub(_blank, text))
    }
    if delays:
        yield f"the delays in {_lines(delays)} are ignored: hardware has none"


def place_text(cell: Cell) -> str:
    """Return the file and line of a cell as text."""
    file, line = cell.place
    return f"{file}:{line}"


def _blank(found: re.Match[str]) -> str:
    return re.sub(r"[^\n]", " ", found[0])


def _lines(places: set[str]) -> str:
    shown = sorted(
        places, key=lambda place: (place.rpartition(":")[0], int(place.rpartition(":")[2] or 0))
    )
    more = f" and {len(shown) - 3} more" if len(shown) > 3 else ""
    return ", ".join(shown[:3]) + more
