"""Builds a netlist in Amaranth: signals, registers and memories, cell by cell."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from amaranth.hdl import Cat, Const, Module, Mux, Signal, Value, unsigned
from amaranth.lib import memory

from busbox.basics.limits import HARDWARE_MEMORY
from busbox.verilog.netlist import Bit, Cell, Netlist
from busbox.verilog.operators import OPERATORS, Operands

REGISTER, MEMORY = "$dff", "$mem_v2"


def bits_of(word: str, undefined: int) -> int:
    """Return a word of the netlist (the highest bit first) as a number; x is ``undefined``."""
    return int(word.replace("x", str(undefined)), 2) if word else 0


def initial_words(cell: Cell) -> list[str]:
    """Return the words of a memory as its initial values, each as a text, the highest bit first."""
    width, size = cell.number("WIDTH"), cell.number("SIZE")
    text = cell.parameters["INIT"].rjust(width * size, "x")
    return [text[len(text) - width * (n + 1) : len(text) - width * n] for n in range(size)]


def check_memories(netlist: Netlist) -> None:
    """Refuse a memory above the limit, before anything is made of it.

    Raises
    ------
    InputError : names the memory and the limit
    """
    for cell in netlist.of_kind(MEMORY):
        size = cell.number("WIDTH") * cell.number("SIZE") // 8
        HARDWARE_MEMORY.check(size, "a memory in hardware", _plain(cell.parameters["MEMID"]))


class Storage:
    """The registers and memories of a netlist.

    Parameters
    ----------
    initial : value of each bit of a register in cycle 0, where it is known
    undefined : level of undefined bits
    words : words of memories in cycle 0 that are not their initial ones, as texts, by cell and number

    Attributes
    ----------
    registers : cell name to its signal
    memories : cell name to its memory
    """

    def __init__(
        self,
        m: Module,
        netlist: Netlist,
        initial: Mapping[int, int],
        undefined: int,
        words: Mapping[str, Mapping[int, str]] = MappingProxyType({}),
    ) -> None:
        self.registers: dict[str, Signal] = {}
        self.memories: dict[str, memory.Memory] = {}
        self.undefined = undefined
        names: set[str] = set()
        for cell in netlist.of_kind(REGISTER):
            bits = cell.connections["Q"]
            start = sum(
                initial.get(bit, undefined) << place
                for place, bit in enumerate(bits)
                if isinstance(bit, int)
            )
            name = _fresh(_name(netlist, cell, bits), names)
            self.registers[cell.name] = Signal(len(bits), name=name, init=start, reset_less=True)
        for cell in netlist.of_kind(MEMORY):
            width, depth = cell.number("WIDTH"), cell.number("SIZE")
            kept = dict(enumerate(initial_words(cell))) | dict(words.get(cell.name, {}))
            contents = [bits_of(word, undefined) for word in kept.values()]
            found = memory.Memory(shape=unsigned(width), depth=depth, init=contents)
            m.submodules[_fresh(_plain(cell.parameters["MEMID"]), names)] = found
            self.memories[cell.name] = found


class Copy:
    """The operators of a netlist, all of them or those that some outputs depend on.

    Parameters
    ----------
    inputs : value of each input port
    registers : value of each register, by cell name
    kept : which cells are built; None for all
    """

    def __init__(
        self,
        m: Module,
        netlist: Netlist,
        storage: Storage,
        inputs: Mapping[str, Any],
        registers: Mapping[str, Any],
        kept: Iterable[str] | None = None,
    ) -> None:
        self._m, self._netlist, self._storage = m, netlist, storage
        self._sources: dict[tuple[str, str], Any] = {("", name): inputs[name] for name in inputs}
        cells = netlist.cells if kept is None else dict.fromkeys(kept)
        built = [netlist.cells[name] for name in cells]
        for cell in built:
            if cell.kind == REGISTER:
                self._sources[cell.name, "Q"] = registers[cell.name]
            else:
                for key in netlist.outputs[cell.name]:
                    bits = cell.connections[key]
                    signal = Signal(len(bits), name=_name(netlist, cell, bits))
                    self._sources[cell.name, key] = signal
        for cell in built:
            if cell.kind == MEMORY:
                self._read(cell)
            elif cell.kind != REGISTER:
                self._compute(cell)

    def value(self, bits: Sequence[Bit]) -> Any:
        """Return what some bits carry."""
        return Cat(*self._pieces(bits))

    def _pieces(self, bits: Sequence[Bit]) -> Iterator[Value]:
        """Yield the pieces of which bits consist: runs of one source, and constants."""
        drivers, undefined = self._netlist.drivers, self._storage.undefined
        begin = 0
        while begin < len(bits):
            end, first = begin + 1, bits[begin]
            if isinstance(first, str):
                while end < len(bits) and isinstance(bits[end], str):
                    end += 1
                word = "".join(map(str, reversed(bits[begin:end])))
                yield Const(bits_of(word, undefined), end - begin)
            elif (found := drivers.get(first)) is None:  # a wire that nothing drives
                yield Const(undefined, 1)
            else:
                cell, key, place = found
                while end < len(bits) and _source(drivers, bits[end]) == (
                    (cell, key, place + end - begin)
                ):
                    end += 1
                yield self._sources[cell, key][place : place + end - begin]
            begin = end

    def next_of(self, cell: Cell) -> Any:
        """Return what a register takes at the end of the cycle."""
        return self.value(cell.connections["D"])

    def _compute(self, cell: Cell) -> None:
        operands = Operands(
            cell,
            lambda key: self.value(cell.connections[key]),
            self._keep,
            self._storage.undefined,
        )
        result = OPERATORS[cell.kind](operands)
        (key,) = self._netlist.outputs[cell.name]
        self._m.d.comb += self._sources[cell.name, key].eq(result)

    def _keep(self, value: Any) -> Signal:
        signal = Signal(len(value), name="part")
        self._m.d.comb += signal.eq(value)
        return signal

    def _read(self, cell: Cell) -> None:
        words, count = self._storage.memories[cell.name], cell.number("RD_PORTS")
        width, bits = cell.number("WIDTH"), cell.number("ABITS")
        data = self._sources[cell.name, "RD_DATA"]
        address = self.value(cell.connections["RD_ADDR"])
        outside = Const(-self._storage.undefined & (1 << width) - 1, width)
        for place in range(count):
            port = words.read_port(domain="comb")
            given = address[place * bits : (place + 1) * bits]
            inside, word = _word(given, cell, words.depth)
            self._m.d.comb += [
                port.addr.eq(word),
                data[place * width : (place + 1) * width].eq(Mux(inside, port.data, outside)),
            ]

    def write_memories(self) -> None:
        """Connect the write ports of the memories: of writes to one word, the later port's wins."""
        for cell in self._netlist.of_kind(MEMORY):
            words, count = self._storage.memories[cell.name], cell.number("WR_PORTS")
            if not count:
                continue
            width, bits = cell.number("WIDTH"), cell.number("ABITS")
            enable, address, data = (
                self.value(cell.connections[key]) for key in ("WR_EN", "WR_ADDR", "WR_DATA")
            )
            wins = cell.number("WR_PRIORITY_MASK")
            # Each in a signal of its own: a value that is repeated is built as often.
            enables = [enable[place * width : (place + 1) * width] for place in range(count)]
            given = [
                self._keep(address[place * bits : (place + 1) * bits]) for place in range(count)
            ]
            for place in range(count):
                port = words.write_port(granularity=1)
                inside, word = _word(given[place], cell, words.depth)
                taken = self._keep(enables[place] & self._keep(inside).replicate(width))
                for later in range(place + 1, count):
                    if wins >> later * count + place & 1:
                        meets = self._keep(given[later] == given[place])
                        taken = self._keep(taken & ~(enables[later] & meets.replicate(width)))
                self._m.d.comb += [
                    port.addr.eq(word),
                    port.data.eq(data[place * width : (place + 1) * width]),
                    port.en.eq(taken),
                ]


def _source(drivers: Mapping[int, tuple[str, str, int]], bit: Bit) -> tuple[str, str, int] | None:
    """Return what drives a bit; None for a constant, and where nothing does."""
    return drivers.get(bit) if isinstance(bit, int) else None


def _word(address: Any, cell: Cell, depth: int) -> tuple[Any, Any]:
    """Return whether an address lies in a memory, and the number of its word."""
    offset = cell.number("OFFSET")
    word = (address - offset).as_unsigned() if offset else address
    return (address >= offset) & (address < offset + depth), word


def cone(netlist: Netlist, bits: Iterable[Bit]) -> set[str]:
    """Return the cells that bits depend on in a cycle: operators, memories, registers at the rim."""
    found: set[str] = set()
    left = [bit for bit in bits if isinstance(bit, int)]
    while left:
        name = netlist.drivers.get(left.pop(), ("", "", 0))[0]
        if not name or name in found:
            continue
        found.add(name)
        cell = netlist.cells[name]
        if cell.kind == REGISTER:
            continue
        keys = (
            ("RD_ADDR",)
            if cell.kind == MEMORY
            else tuple(key for key in cell.connections if key not in netlist.outputs[name])
        )
        left += [bit for key in keys for bit in cell.connections[key] if isinstance(bit, int)]
    return found


def build(
    m: Module, netlist: Netlist, storage: Storage, inputs: Mapping[str, Any]
) -> dict[str, Value]:
    """Build a netlist; return the values of its output ports.

    Parameters
    ----------
    inputs : value of each input port, as wide as the port; the clock's is not used
    """
    copy = Copy(m, netlist, storage, inputs, storage.registers)
    for cell in netlist.of_kind(REGISTER):
        m.d.sync += storage.registers[cell.name].eq(copy.next_of(cell))
    copy.write_memories()
    return {
        port.name: copy.value(port.bits)
        for port in netlist.ports.values()
        if port.direction == "output"
    }


def _name(netlist: Netlist, cell: Cell, bits: Sequence[Bit]) -> str:
    """Return the name of what a cell drives, as it stands in the file where it has one."""
    names = {netlist.named[bit][0] for bit in bits if isinstance(bit, int) and bit in netlist.named}
    return _plain(names.pop()) if len(names) == 1 else _plain(cell.kind)


def _plain(name: str) -> str:
    return re.sub(r"\W+", "_", name).strip("_") or "net"


def _fresh(name: str, taken: set[str]) -> str:
    fresh, number = name, 1
    while fresh in taken:
        number += 1
        fresh = f"{name}_{number}"
    taken.add(fresh)
    return fresh
