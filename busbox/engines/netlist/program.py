"""What a design is for an engine: expressions for outputs, registers and memories."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from busbox.engines.netlist.errors import NetlistError
from busbox.engines.netlist.nodes import Node
from busbox.engines.netlist.outline import Number, Outline, Words

#: Bits of a port: its name alone for all, or (name, low, width).
PortBits = str | tuple[str, int, int]


@dataclass(frozen=True, slots=True)
class Input:
    """A port that is driven from outside; ``init`` is its initial value."""

    name: str
    width: int
    init: int


@dataclass(frozen=True, slots=True)
class Output:
    """A port that the design drives, with the expression of its value."""

    name: str
    width: int
    value: Node


@dataclass(frozen=True, slots=True)
class Register:
    """A register: hierarchical name, initial value, and the expression of what it takes next."""

    name: str
    width: int
    init: int
    next: Node


@dataclass(frozen=True, slots=True)
class WritePort:
    """A write port: address, word, and a bit for every bit of the word that is written."""

    address: Node
    data: Node
    enable: Node


@dataclass(frozen=True, slots=True)
class Memory:
    """A memory: ``init`` has a number for each word; of its write ports a later one wins."""

    name: str
    width: int
    depth: int
    init: tuple[int, ...]
    writes: tuple[WritePort, ...]


@dataclass(frozen=True)
class Program:
    """A design, ready for an emitter. All values are bit patterns: 0 <= value < 2**width.

    Attributes
    ----------
    clock : name of the port that is the clock, or None where nothing is clocked; no input
    inputs, outputs, registers, memories : in a fixed order
    unexecuted : hierarchical names of prints and checks, which are not carried out
    """

    clock: str | None
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    registers: tuple[Register, ...]
    memories: tuple[Memory, ...]
    unexecuted: tuple[str, ...]

    @property
    def outline(self) -> Outline:
        """The program without its expressions."""
        return Outline(
            tuple(Number(one.name, one.width, one.init) for one in self.inputs),
            tuple(Number(one.name, one.width, 0) for one in self.outputs),
            tuple(Number(one.name, one.width, one.init) for one in self.registers),
            tuple(Words(one.name, one.width, one.depth, one.init) for one in self.memories),
            self.unexecuted,
        )

    def roots(self) -> list[Node]:
        """Return every expression that is needed: of outputs, registers and write ports."""
        found = [output.value for output in self.outputs]
        found += [register.next for register in self.registers]
        for memory in self.memories:
            for port in memory.writes:
                found += [port.enable, port.address, port.data]
        return found

    def output(self, name: str) -> Output:
        """Return the output of that name."""
        self._bits(name, {one.name: one.width for one in self.outputs})
        return next(one for one in self.outputs if one.name == name)

    def depends(self, output: PortBits) -> set[str]:
        """Return the names of the inputs of which a bit reaches bits of an output in the same cycle."""
        reached = self._reaching(output)
        return {one.name for one in self.inputs if reached & self.input_bits(one.name)}

    def reaches(self, source: PortBits, output: PortBits) -> bool:
        """Return whether one of the bits of an input reaches one of the output's in the same cycle.

        The answer counts wires, not values: yes may be too careful, no is certain.
        """
        return bool(self._reaching(output) & self.input_bits(source))

    def _reaching(self, output: PortBits) -> int:
        name, low, width = self._bits(output, {one.name: one.width for one in self.outputs})
        node = self.output(name).value
        reached = 0
        for bit in self.reach([node])[node][low : low + width]:
            reached |= bit
        return reached

    def input_bits(self, source: PortBits) -> int:
        """Return bits of an input as a set of bits of all inputs side by side."""
        name, low, width = self._bits(source, {one.name: one.width for one in self.inputs})
        return (1 << width) - 1 << self._first_bits[name] + low

    @cached_property
    def _first_bits(self) -> dict[str, int]:
        found, at = {}, 0
        for one in self.inputs:
            found[one.name] = at
            at += one.width
        return found

    def _bits(self, port: PortBits, widths: dict[str, int]) -> tuple[str, int, int]:
        name = port if isinstance(port, str) else port[0]
        if name not in widths:
            raise NetlistError(f"the port must be one of {', '.join(widths)}, not {name}", name)
        _, low, width = (name, 0, widths[name]) if isinstance(port, str) else port
        if not 0 <= low <= low + width <= widths[name]:
            raise NetlistError(
                f"bits must lie in the {widths[name]} of the port, not {low} to {low + width - 1}",
                name,
            )
        return name, low, width

    def reach(self, roots: Iterable[Node]) -> dict[Node, list[int]]:
        """Return, for each bit of each node below the roots, the bits of all inputs that reach it."""
        found: dict[Node, list[int]] = {}
        for node in in_order(roots):
            found[node] = self._reach_of(node, found)
        return found

    def _reach_of(self, node: Node, found: dict[Node, list[int]]) -> list[int]:
        below = [found[one] for one in node.args]
        if node.kind == "input":
            first = self._first_bits[self.inputs[node.extra].name]
            return [1 << first + bit for bit in range(node.width)]
        if node.kind in ("const", "reg"):
            return [0] * node.width
        if node.kind == "not":
            return below[0]
        if node.kind in ("and", "or", "xor"):
            return _bitwise(node, below)
        if node.kind == "mux":
            return [below[0][0] | a | b for a, b in zip(below[1], below[2], strict=True)]
        if node.kind == "slice":
            return below[0][node.extra : node.extra + node.width]
        if node.kind == "cat":
            return [bit for part in below for bit in part]
        if node.kind == "sext":
            return below[0] + [below[0][-1]] * (node.width - len(below[0]))
        if node.kind in ("add", "sub", "mul", "neg"):
            return _upwards(node.width, below)
        every = 0
        for part in below:
            for bit in part:
                every |= bit
        return [every] * node.width


def _bitwise(node: Node, below: list[list[int]]) -> list[int]:
    """A bit of ``and`` with 0, or of ``or`` with 1, depends on nothing."""
    known = node.args[1].extra if node.args[1].kind == "const" else None
    found = [a | b for a, b in zip(*below, strict=True)]
    if known is None or node.kind == "xor":
        return found
    idle = 0 if node.kind == "and" else 1
    return [0 if known >> bit & 1 == idle else one for bit, one in enumerate(found)]


def _upwards(width: int, below: list[list[int]]) -> list[int]:
    """A bit of a sum depends on the bits at its place and below it."""
    found, so_far = [], 0
    for bit in range(width):
        for part in below:
            so_far |= part[bit]
        found.append(so_far)
    return found


def in_order(roots: Iterable[Node]) -> list[Node]:
    """Return all nodes below the roots, each after its operands, every one once."""
    found: dict[Node, None] = {}
    for root in roots:
        path = [(root, iter(root.args))] if root not in found else []
        while path:
            node, rest = path[-1]
            for one in rest:
                if one not in found:
                    path.append((one, iter(one.args)))
                    break
            else:
                path.pop()
                found[node] = None
    return list(found)
