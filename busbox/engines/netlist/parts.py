"""A program with some inputs held, cut into parts that do not hear of each other.

While nothing is on the bus, devices have nothing to do with each other. A part whose edge changes
nothing need not be looked at again before an input comes: its next edge would change nothing too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from busbox.engines.netlist.nodes import Graph, Node
from busbox.engines.netlist.program import Program, WritePort, in_order


def hold(program: Program, constants: Mapping[str, int]) -> Program:
    """Return a program in which these inputs have these values for good, simplified.

    Inputs, registers and memories keep their places, so that both run on the same state.
    """
    graph = Graph()
    found: dict[Node, Node] = {}
    for node in in_order(program.roots()):
        name = program.inputs[node.extra].name if node.kind == "input" else ""
        if name in constants:
            found[node] = graph.const(constants[name], node.width)
        else:
            found[node] = _again(graph, node, [found[one] for one in node.args])
    return replace(
        program,
        outputs=tuple(replace(one, value=found[one.value]) for one in program.outputs),
        registers=tuple(replace(one, next=found[one.next]) for one in program.registers),
        memories=tuple(
            replace(one, writes=tuple(
                WritePort(found[port.address], found[port.data], found[port.enable])
                for port in one.writes
                if not _is_nothing(found[port.enable])
            ))
            for one in program.memories
        ),
    )  # fmt: skip


def _is_nothing(node: Node) -> bool:
    return node.kind == "const" and not node.extra


def _again(graph: Graph, node: Node, args: list[Node]) -> Node:
    """Return the node in another graph, with other operands."""
    if node.kind in _ONE_BY_ONE:
        return _ONE_BY_ONE[node.kind](graph)(*args)
    match node.kind:
        case "const":
            return graph.const(node.extra, node.width)
        case "eq":
            return graph.equal(*args)
        case "ult" | "slt":
            return graph.less(args[0], args[1], node.kind == "slt")
        case "slice":
            return graph.slice(args[0], node.extra, node.width)
        case "sext":
            return graph.sext(args[0], node.width)
        case "shl" | "shr" | "sar":
            return graph.shift(node.kind, *args)
        case "add" | "sub" | "mul" | "udiv" | "umod" | "sdiv" | "smod":
            return graph.arithmetic(node.kind, *args)
    return graph.node(node.kind, node.width, *args, extra=node.extra)  # inputs, registers, memories


_ONE_BY_ONE: dict[str, Callable[[Graph], Callable[..., Node]]] = {
    "not": lambda graph: graph.invert,
    "neg": lambda graph: graph.negate,
    "and": lambda graph: graph.both,
    "or": lambda graph: graph.either,
    "xor": lambda graph: graph.differ,
    "any": lambda graph: graph.any,
    "parity": lambda graph: graph.parity,
    "mux": lambda graph: graph.mux,
    "cat": lambda graph: graph.cat,
}


def split(program: Program, groups: Iterable[Sequence[str]], most: int) -> list[Program]:
    """Return parts of a program, each with the outputs of one group or more.

    A part has all registers and memories of the program at their places; those of other parts stay as
    they are in its edges. What no group shows is one part too, without outputs.

    Parameters
    ----------
    groups : names of outputs; those of a group come into one part
    most : parts at most, from 1 on; the last one takes what is left
    """
    cells = _Cells(program)
    wanted = [list(group) for group in groups]
    below = [cells.under(program.output(name).value for name in group) for group in wanted]
    for one in below:
        cells.join(one)
    roots = [{cells.root(cell) for cell in one} for one in below]
    hidden = {cells.root(cell) for cell in cells.moving}.difference(*roots)
    parts: list[tuple[set[int], list[str]]] = []
    for mine, names in [*zip(roots, wanted, strict=True), (hidden, [])]:
        same = [part for part in parts if part[0] & mine]
        if same or len(parts) == most:
            part = same[0] if same else parts[-1]
            part[0].update(mine)
            part[1].extend(names)
        else:
            parts.append((mine, names))
    return [_part(program, cells, mine, names) for mine, names in parts]


class _Cells:
    """Registers and memories that move, joined where one hears of the other.

    A cell is a number: the place of a register, or, behind them, of a memory. ``moving`` are those that
    an edge may change.
    """

    def __init__(self, program: Program) -> None:
        self._program = program
        self._count = len(program.registers)
        self._above = list(range(self._count + len(program.memories)))
        self.moving = [
            place
            for place, one in enumerate(program.registers)
            if one.width and not (one.next.kind == "reg" and one.next.extra == place)
        ]
        self.moving += [self._count + at for at, one in enumerate(program.memories) if one.writes]
        self._moves = set(self.moving)
        for cell in self.moving:
            self.join([cell, *self.under(self._roots(cell))])

    def _roots(self, cell: int) -> list[Node]:
        """Return what decides what a cell takes next."""
        if cell < self._count:
            return [self._program.registers[cell].next]
        ports = self._program.memories[cell - self._count].writes
        return [node for port in ports for node in (port.enable, port.address, port.data)]

    def under(self, nodes: Iterable[Node]) -> list[int]:
        """Return the cells below nodes that move."""
        found = []
        for node in in_order(nodes):
            if node.kind == "reg":
                found.append(node.extra)
            elif node.kind == "mem":
                found.append(self._count + node.extra)
        return [cell for cell in found if cell in self._moves]

    def root(self, cell: int) -> int:
        """Return the cell that stands for all that it is joined with."""
        while self._above[cell] != cell:
            cell = self._above[cell]
        return cell

    def join(self, cells: Iterable[int]) -> None:
        """Join cells."""
        roots = sorted({self.root(cell) for cell in cells})
        for root in roots[1:]:
            self._above[root] = roots[0]


def _part(program: Program, cells: _Cells, roots: set[int], names: Sequence[str]) -> Program:
    mine = {cell for cell in cells.moving if cells.root(cell) in roots}
    graph = Graph()
    count = len(program.registers)
    return replace(
        program,
        outputs=tuple(program.output(name) for name in names),
        registers=tuple(
            one if place in mine
            else replace(one, next=graph.node("reg", one.width, extra=place))
            for place, one in enumerate(program.registers)
        ),
        memories=tuple(
            one if count + place in mine else replace(one, writes=())
            for place, one in enumerate(program.memories)
        ),
    )  # fmt: skip
