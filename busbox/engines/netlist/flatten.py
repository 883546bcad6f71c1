"""The hierarchy flattened: every bit has exactly one driver.

Wires of all modules are bits in one space; ``connect`` and the ports of submodules join bits into one.
A driver of a joined bit is an input of the top, an output of a cell, a process or a constant. Amaranth
writes a bit that nothing drives as a constant of its initial value, so a bit without a driver, where
one reads it, is an error here. Two drivers are an error that names both.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from busbox.engines.netlist import cells
from busbox.engines.netlist.errors import NetlistError
from busbox.engines.netlist.text import (
    Assign,
    Bits,
    Case,
    Cell,
    ModuleText,
    Piece,
    Process,
    Sig,
    Switch,
    Wire,
    width_of,
)

#: The port at which a cell drives, by kind; other kinds with a port Y drive there.
_OUTPUTS = {"$dff": "Q", "$memrd_v2": "DATA"}
_SILENT = (*cells.REPORTING, "$meminit_v2", "$memwr_v2")


@dataclass(eq=False, slots=True)
class Source:
    """What drives ``width`` bits.

    Attributes
    ----------
    name : hierarchical name, for messages
    module : module in which it stands
    what : the input wire, the cell, or the process
    target : of a process: the bits it drives, in order
    """

    name: str
    module: ModuleText
    what: Wire | Cell | Process
    width: int
    target: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Run:
    """``width`` bits of a source from ``low`` on, or, without a source, of the constant ``value``."""

    source: Source | None
    low: int
    width: int
    value: int = 0


@dataclass(slots=True)
class Flat:
    """The flat netlist: sources, and :meth:`runs`, which says what drives the bits of a signal."""

    modules: list[ModuleText]
    top: ModuleText
    sources: list[Source] = field(default_factory=list)
    _base: dict[tuple[str, str], int] = field(default_factory=dict)
    _joined: list[int] = field(default_factory=lambda: [0, 1])
    _drivers: dict[int, tuple[Source, int]] = field(default_factory=dict)

    def bits(self, module: ModuleText, sig: Sig) -> list[int]:
        """Return the joined bits of what is connected, lowest first; 0 and 1 are constants."""
        found: list[int] = []
        for part in sig:
            if isinstance(part, Bits):
                found += [part.value >> bit & 1 for bit in range(part.width)]
            else:
                base = self._base[module.name, part.wire] + part.low
                found += [self._find(bit) for bit in range(base, base + part.width)]
        return found

    def runs(self, module: ModuleText, sig: Sig, line: int) -> tuple[Run, ...]:
        """Return what drives the bits of ``sig``, lowest first, in the longest runs.

        Raises
        ------
        NetlistError : nothing drives one of them
        """
        found: list[Run] = []
        source: Source | None = None
        low = width = value = 0
        for place, bit in enumerate(self.bits(module, sig)):
            if bit < 2:
                driver, at = None, 0
            elif bit in self._drivers:
                driver, at = self._drivers[bit]
            else:
                name = _bit_name(module, sig, place)
                raise NetlistError("this bit is read, but nothing drives it", name, line)
            if width and driver is source and (driver is None or low + width == at):
                value |= bit << width if driver is None else 0
                width += 1
                continue
            if width:
                found.append(Run(source, low, width, value))
            source, low, width, value = driver, at, 1, bit if driver is None else 0
        if width:
            found.append(Run(source, low, width, value))
        return tuple(found)

    def _find(self, bit: int) -> int:
        joined = self._joined
        while joined[bit] != bit:
            joined[bit] = joined[joined[bit]]
            bit = joined[bit]
        return bit

    def _join(self, one: int, other: int, where: str, line: int) -> None:
        low, high = sorted((self._find(one), self._find(other)))
        if high == 1 and low == 0:
            raise NetlistError("a bit must have one driver, not the constants 0 and 1", where, line)
        self._joined[high] = low

    def _connect(self, one: list[int], other: list[int], where: str, line: int) -> None:
        for left, right in zip(one, other, strict=True):
            self._join(left, right, where, line)

    def _drive(self, source: Source, bits: list[int], line: int) -> None:
        self.sources.append(source)
        for place, bit in enumerate(bits):
            bit = self._find(bit)
            if bit < 2 or bit in self._drivers:
                other = f"the constant {bit}" if bit < 2 else self._drivers[bit][0].name
                raise NetlistError(
                    f"bit {place} must have one driver; {other} drives it too", source.name, line
                )
            self._drivers[bit] = (source, place)


def _bit_name(module: ModuleText, sig: Sig, place: int) -> str:
    for part in sig:
        if place < part.width:
            assert isinstance(part, Piece)
            return f"{module.name}.{bare(part.wire)}[{part.low + place}]"
        place -= part.width
    raise AssertionError(place)


def bare(name: str) -> str:
    """Return a name without the sign in front of it."""
    return name.removeprefix("\\")


def flatten(modules: list[ModuleText]) -> Flat:
    """Return the flat netlist of a text.

    Raises
    ------
    NetlistError : a refused or malformed cell, two drivers of a bit, an inout port
    """
    tops = [module for module in modules if module.top]
    if len(tops) != 1:
        raise NetlistError(f"one module must be the top, not {len(tops)}", "netlist")
    flat = Flat(modules, tops[0])
    _lay_out(flat)
    by_name = {module.name: module for module in modules}
    _check_places(flat, by_name)
    for module in modules:
        _join_module(flat, module, by_name)
    for module in modules:
        _drive_module(flat, module)
    return flat


def _lay_out(flat: Flat) -> None:
    joined = flat._joined
    for module in flat.modules:
        for wire in module.wires.values():
            if wire.port == "inout":
                raise NetlistError(
                    "an inout port is not run; a pin must be an input or an output",
                    f"{module.name}.{bare(wire.name)}",
                )
            flat._base[module.name, wire.name] = len(joined)
            joined.extend(range(len(joined), len(joined) + wire.width))


def _check_places(flat: Flat, by_name: dict[str, ModuleText]) -> None:
    """Check every cell, and that every module but the top has one place."""
    if len(by_name) != len(flat.modules):
        raise NetlistError("every module must have a unique name", "netlist")
    names = frozenset(by_name)
    used = [flat.top.name]
    for module in flat.modules:
        for cell in module.cells:
            cells.check(cell, module.name, names)
            if cell.kind.startswith("\\"):
                used.append(cell.kind[1:])
    for module in flat.modules:
        if used.count(module.name) != 1:
            raise NetlistError(
                f"a module must have one place, not {used.count(module.name)}",
                module.name,
                module.line,
            )


def _join_module(flat: Flat, module: ModuleText, by_name: dict[str, ModuleText]) -> None:
    for left, right, line in module.connects:
        flat._connect(flat.bits(module, left), flat.bits(module, right), module.name, line)
    for cell in module.cells:
        if not cell.kind.startswith("\\"):
            continue
        inner = by_name[cell.kind[1:]]
        ports = {bare(wire.name): wire for wire in inner.wires.values() if wire.port}
        for port, sig in cell.ports.items():
            wire = ports.get(port)
            if wire is None or wire.width != width_of(sig):
                raise NetlistError(
                    f"{inner.name} has no port {port} of {width_of(sig)} bits",
                    f"{module.name}.{bare(cell.name)}",
                    cell.line,
                )
            inside = flat.bits(inner, (Piece(wire.name, 0, wire.width),))
            flat._connect(flat.bits(module, sig), inside, inner.name, cell.line)


def _drive_module(flat: Flat, module: ModuleText) -> None:
    if module is flat.top:
        for wire in module.wires.values():
            if wire.port == "input":
                sig: Sig = (Piece(wire.name, 0, wire.width),)
                source = Source(f"{module.name}.{bare(wire.name)}", module, wire, wire.width)
                flat._drive(source, flat.bits(module, sig), wire.line)
    for cell in module.cells:
        if cell.kind.startswith("\\") or cell.kind in _SILENT:
            continue
        sig = cell.ports[_OUTPUTS.get(cell.kind, "Y")]
        source = Source(_name(module, sig, cell.name), module, cell, width_of(sig))
        flat._drive(source, flat.bits(module, sig), cell.line)
    for process in module.processes:
        _drive_process(flat, module, process)


def _name(module: ModuleText, sig: Sig, otherwise: str) -> str:
    first = sig[0] if len(sig) == 1 else None
    name = first.wire if isinstance(first, Piece) else otherwise
    return f"{module.name}.{bare(name)}"


def _drive_process(flat: Flat, module: ModuleText, process: Process) -> None:
    """Make a source of every stretch of bits that all assignments of a process treat alike."""
    cuts: set[int] = set()
    order: dict[int, Sig] = {}
    for assign in assignments(process.body):
        bits = _raw_bits(flat, module, assign)
        for bit in bits:
            order.setdefault(bit, assign.target)
        for before, bit in pairwise(bits):
            if bit != before + 1:
                cuts.add(bit)
        if bits:
            cuts |= {bits[0], bits[-1] + 1}
    stretch: list[int] = []
    for bit in sorted(order):
        if stretch and (bit in cuts or bit != stretch[-1] + 1):
            _drive_stretch(flat, module, process, stretch, order)
            stretch = []
        stretch.append(bit)
    if stretch:
        _drive_stretch(flat, module, process, stretch, order)


def _drive_stretch(
    flat: Flat, module: ModuleText, process: Process, bits: list[int], order: dict[int, Sig]
) -> None:
    name = _name(module, order[bits[0]], process.name)
    source = Source(name, module, process, len(bits), tuple(bits))
    flat._drive(source, bits, process.line)


def _raw_bits(flat: Flat, module: ModuleText, assign: Assign) -> list[int]:
    found: list[int] = []
    for part in assign.target:
        if isinstance(part, Bits):
            raise NetlistError("a constant must not be assigned to", module.name, assign.line)
        base = flat._base[module.name, part.wire] + part.low
        found += range(base, base + part.width)
    return found


def target_bits(flat: Flat, source: Source, assign: Assign) -> list[int]:
    """Return the bits that an assignment of a process's source assigns to, as ``target`` names them."""
    return _raw_bits(flat, source.module, assign)


def assignments(body: list[Assign | Switch]) -> list[Assign]:
    """Return all assignments of a body, those inside its switches too, in order."""
    found: list[Assign] = []
    for one in body:
        if isinstance(one, Assign):
            found.append(one)
        else:
            for case in one.cases:
                found += assignments(case.body)
    return found


__all__ = ["Case", "Flat", "Run", "Source", "assignments", "bare", "flatten",
           "target_bits"]  # fmt: skip
