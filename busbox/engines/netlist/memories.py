"""The memories of a flat netlist: their cells brought together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from busbox.engines.netlist import cells
from busbox.engines.netlist.errors import NetlistError
from busbox.engines.netlist.facts import MemoryFacts, ReadPort
from busbox.engines.netlist.flatten import Flat, Source, bare
from busbox.engines.netlist.text import Bits, Cell, ModuleText, Piece, width_of


@dataclass(slots=True)
class MemoryCells:
    """A memory with the cells of its write ports (in port order) and read ports."""

    module: ModuleText
    width: int
    depth: int
    init: tuple[int, ...]
    facts: MemoryFacts
    writes: list[Cell] = field(default_factory=list)
    reads: list[Cell] = field(default_factory=list)

    def fact(self, cell: Cell) -> ReadPort:
        """Return what the design says of a read port."""
        return self.facts.reads[self.reads.index(cell)]


def find_memories(flat: Flat, facts: Sequence[MemoryFacts]) -> dict[tuple[str, str], MemoryCells]:
    """Return the memories, by module and name, in the order of the text."""
    keys = [(module, name) for module in flat.modules for name in module.memories]
    found: dict[tuple[str, str], MemoryCells] = {}
    for (module, name), fact in zip(keys, facts, strict=True):
        text = module.memories[name]
        where = f"{module.name}.{bare(name)}"
        mine = [cell for cell in module.cells if cell.parameters.get("MEMID") == name]
        init = [cell for cell in mine if cell.kind == "$meminit_v2"]
        if len(init) != 1:
            raise NetlistError(f"it must have one $meminit_v2, not {len(init)}", where, text.line)
        memory = MemoryCells(
            module, text.width, text.depth, _words(init[0], text.width, text.depth, where), fact
        )
        memory.writes = [cell for cell in mine if cell.kind == "$memwr_v2"]
        memory.reads = [cell for cell in mine if cell.kind == "$memrd_v2"]
        memory.writes.sort(key=lambda cell: cells.number(cell, "PORTID", where))
        _check(memory, where, text.line)
        found[module.name, name] = memory
    return found


def _words(cell: Cell, width: int, depth: int, where: str) -> tuple[int, ...]:
    """Return the initial words of a memory."""
    sig = cell.ports["DATA"]
    value, at = 0, 0
    for part in sig:
        if not isinstance(part, Bits):
            raise NetlistError("initial words must be constants", where, cell.line)
        value |= part.value << at
        at += part.width
    if cells.number(cell, "WORDS", where) != depth or width_of(sig) != width * depth:
        raise NetlistError(f"it must have {depth} initial words", where, cell.line)
    return tuple(value >> width * word & (1 << width) - 1 for word in range(depth))


def _check(memory: MemoryCells, where: str, line: int) -> None:
    """Check that ports, design and memory belong together."""
    facts = memory.facts
    if (facts.width, facts.depth, len(facts.reads)) != (
        memory.width,
        memory.depth,
        len(memory.reads),
    ):
        raise NetlistError("the netlist text and the design must show the same memory", where, line)
    ids = [cells.number(cell, "PORTID", where) for cell in memory.writes]
    if ids != list(range(len(ids))):
        raise NetlistError(f"write ports must be numbered from 0, not {ids}", where, line)
    for cell in (*memory.writes, *memory.reads):
        if cells.number(cell, "WIDTH", where) != memory.width:
            raise NetlistError(f"ports must be {memory.width} bits wide", where, cell.line)


def memory_key(module: ModuleText, cell: Cell) -> tuple[str, str]:
    """Return module and name of the memory of a port."""
    return module.name, cells.name_of(cell, "MEMID", module.name)


def is_clocked(cell: Cell) -> bool:
    """Return whether a cell has a clock."""
    return cell.kind in ("$dff", "$memwr_v2") or (
        cell.kind == "$memrd_v2" and cell.parameters["CLK_ENABLE"] == 1
    )


def is_state(source: Source) -> bool:
    """Return whether a source is a register."""
    return isinstance(source.what, Cell) and is_clocked(source.what)


def shown(cell: Cell) -> str:
    """Return the name by which a message speaks of a clocked cell: its signal or its memory."""
    if cell.kind == "$memwr_v2":
        return str(cell.parameters["MEMID"])
    sig = cell.ports["Q" if cell.kind == "$dff" else "DATA"]
    return sig[0].wire if sig and isinstance(sig[0], Piece) else cell.name
