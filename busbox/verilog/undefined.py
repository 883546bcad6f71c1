"""Where undefined bits come from in a netlist, beside registers and memories that nothing sets."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from busbox.verilog.netlist import Bit, Cell, Netlist
from busbox.verilog.statements import MEMORY

_DIVISIONS = ("$div", "$mod")


def undefined_sources(netlist: Netlist) -> tuple[str, ...]:
    """Return what else may give undefined bits, each with its place.

    That is a constant x, a wire that nothing drives, a division by what may be 0, a bit taken from
    outside of a word, and a word read from outside of a memory (IEEE 1364-2005, sections 5.1.5 and
    5.2.1). Whether such a case occurs is not looked at.
    """
    return tuple(dict.fromkeys(_found(netlist)))


def _found(netlist: Netlist) -> Iterator[str]:
    for port in netlist.ports.values():
        if port.direction == "output" and _are_undefined(netlist, port.bits):
            yield f"x at port {port.name}"
    for cell in netlist.cells.values():
        inputs = [key for key in cell.connections if key not in netlist.outputs[cell.name]]
        if any(_are_undefined(netlist, cell.connections[key]) for key in inputs):
            yield f"x{_place(cell)}"
        may = _MAY.get(cell.kind)
        what = "" if may is None else may(cell)
        if what:
            yield f"{what}{_place(cell)}"


def _are_undefined(netlist: Netlist, bits: Sequence[Bit]) -> bool:
    return any(bit == "x" if isinstance(bit, str) else bit not in netlist.drivers for bit in bits)


def _place(cell: Cell) -> str:
    file, line = cell.place
    return f" ({file}:{line})" if file else ""


def _division(cell: Cell) -> str:
    return "" if "1" in cell.connections["B"] else "a division"


def _index(cell: Cell) -> str:
    """A bit or part taken from a word: it always lies inside if no number of it reaches beyond."""
    word, number = len(cell.connections["A"]), len(cell.connections["B"])
    most = (1 << number) - 1 + cell.number("Y_WIDTH")
    return "" if most <= word and not cell.number("B_SIGNED") else "a bit outside of a word"


def _memory(cell: Cell) -> str:
    first, words = cell.number("OFFSET"), cell.number("SIZE")
    whole = first == 0 and 1 << cell.number("ABITS") <= words
    return "" if whole else f"a word outside of {cell.memory}"


_MAY: dict[str, Callable[[Cell], str]] = {
    **dict.fromkeys(_DIVISIONS, _division),
    "$shiftx": _index,
    MEMORY: _memory,
}
