"""The order in which combinational sources are worked out.

Sources are ordered whole. Where whole sources go round in a loop, those that work bit by bit (muxes,
processes and the bitwise operators) are split into their bits, as Amaranth itself counts loops; a loop
that is left is an error that names its signals.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from busbox.engines.netlist.errors import NetlistError
from busbox.engines.netlist.flatten import Flat, Run, Source, assignments, bare, target_bits
from busbox.engines.netlist.text import Assign, Bits, Cell, Piece, Process, Sig, Switch, width_of

#: Cells of which a bit depends on the bits at its place alone (and on S).
BITWISE = ("$not", "$and", "$or", "$xor", "$mux")


@dataclass(eq=False, slots=True)
class Step:
    """Bits ``low`` to ``low + width - 1`` of a source, which are worked out together.

    Attributes
    ----------
    reads : what it depends on within the same cycle
    """

    source: Source
    low: int
    width: int
    reads: list[Run] = field(default_factory=list)


@dataclass(slots=True)
class Order:
    """Steps in an order in which each comes after those it reads."""

    steps: list[Step]
    #: For each source, the steps of its bits, in order.
    of: dict[Source, list[Step]]

    def pieces(self, run: Run) -> Iterator[tuple[Step, int, int]]:
        """Yield (step, low bit in the step, width) for the bits of a run of a source in steps."""
        assert run.source is not None
        at, end = run.low, run.low + run.width
        for step in self.of[run.source]:
            stop = min(end, step.low + step.width)
            if step.low <= at < stop:
                yield step, at - step.low, stop - at
                at = stop


def is_combinational(source: Source) -> bool:
    """Return whether a source's value follows others within the cycle."""
    what = source.what
    if isinstance(what, Cell):
        return not (
            what.kind == "$dff" or (what.kind == "$memrd_v2" and what.parameters["CLK_ENABLE"] == 1)
        )
    return isinstance(what, Process)


def order(flat: Flat) -> Order:
    """Return the steps of all combinational sources in order.

    Raises
    ------
    NetlistError : signals that go round in a loop
    """
    steps = [
        Step(source, 0, source.width, list(reads(flat, source, 0, source.width)))
        for source in flat.sources
        if is_combinational(source)
    ]
    found, loops = _sorted(_table(steps))
    if not loops:
        return found
    looping = {step for loop in loops for step in loop}
    steps = [part for step in steps for part in (_split(flat, step) if step in looping else [step])]
    found, loops = _sorted(_table(steps))
    if loops:
        names = sorted({_title(flat, step) for step in loops[0]})
        raise NetlistError(
            f"signals must not go round in a loop: {', '.join(names)}", flat.top.name
        )
    return found


def _table(steps: list[Step]) -> Order:
    of: dict[Source, list[Step]] = {}
    for step in steps:
        of.setdefault(step.source, []).append(step)
    return Order(steps, of)


def _split(flat: Flat, step: Step) -> list[Step]:
    what = step.source.what
    if isinstance(what, Cell) and what.kind not in BITWISE:
        return [step]
    return [
        Step(step.source, bit, 1, list(reads(flat, step.source, bit, 1)))
        for bit in range(step.width)
    ]


def _title(flat: Flat, step: Step) -> str:
    """Return the name of a signal that shows the step, with its bit if the step is one of several."""
    module = step.source.module
    name, width = step.source.name, step.source.width
    for wire in module.wires.values():
        sig = (Piece(wire.name, 0, wire.width),)
        runs = flat.runs(module, sig, wire.line) if wire.name[0] == "\\" else ()
        place = 0
        for run in runs:
            if run.source is step.source and run.low <= step.low < run.low + run.width:
                name, width = f"{module.name}.{bare(wire.name)}", wire.width
                bit = place + step.low - run.low
                return name if step.width == width else f"{name}[{bit}]"
            place += run.width
    return name if step.width == width else f"{name}[{step.low}]"


# What a source reads.


def reads(flat: Flat, source: Source, low: int, width: int) -> Iterator[Run]:
    """Yield what bits of a combinational source depend on within the cycle."""
    what = source.what
    if isinstance(what, Process):
        for sig, line in _process_reads(flat, source, low, width):
            yield from flat.runs(source.module, sig, line)
        return
    assert isinstance(what, Cell)
    for port, sig in what.ports.items():
        if port in ("Y", "DATA", "CLK", "EN", "ARST", "SRST"):
            continue
        if what.kind in BITWISE and port != "S":
            sig = cut(sig, low, width)
        yield from flat.runs(source.module, sig, what.line)


def cut(sig: Sig, low: int, width: int) -> Sig:
    """Return ``width`` bits of a signal from ``low`` on; fewer where it ends before."""
    found: list[Bits | Piece] = []
    for part in sig:
        first, last = max(low, 0), min(low + width, part.width)
        if first < last:
            if isinstance(part, Bits):
                value = part.value >> first & (1 << last - first) - 1
                found.append(Bits(value, last - first))
            else:
                found.append(Piece(part.wire, part.low + first, last - first))
        low -= part.width
    return tuple(found)


def _process_reads(flat: Flat, source: Source, low: int, width: int) -> Iterator[tuple[Sig, int]]:
    assert isinstance(source.what, Process)
    wanted = frozenset(source.target[low : low + width])
    yield from _body_reads(flat, source, source.what.body, wanted)


def _body_reads(
    flat: Flat, source: Source, body: list[Assign | Switch], wanted: frozenset[int]
) -> Iterator[tuple[Sig, int]]:
    for one in body:
        if isinstance(one, Assign):
            sig = assigned(flat, source, one, wanted)
            if width_of(sig):
                yield sig, one.line
        elif any(touches(flat, source, case.body, wanted) for case in one.cases):
            yield one.test, one.line
            for case in one.cases:
                yield from _body_reads(flat, source, case.body, wanted)


def assigned(flat: Flat, source: Source, assign: Assign, wanted: frozenset[int]) -> Sig:
    """Return the part of an assignment's value that goes to the wanted bits (in order)."""
    places = [place for place, bit in enumerate(target_bits(flat, source, assign)) if bit in wanted]
    if not places:
        return ()
    return cut(assign.value, places[0], len(places))


def touches(
    flat: Flat, source: Source, body: list[Assign | Switch], wanted: frozenset[int]
) -> bool:
    """Return whether a body assigns to one of the wanted bits."""
    return any(bit in wanted for one in assignments(body) for bit in target_bits(flat, source, one))


# Tarjan's algorithm (SIAM Journal on Computing 1, 1972), without recursion.


def _sorted(table: Order) -> tuple[Order, list[list[Step]]]:
    """Return the steps in order, and the loops that prevent one."""
    steps = table.steps
    number = {step: place for place, step in enumerate(steps)}
    needs = [
        sorted({number[piece[0]] for run in step.reads for piece in _pieces(table, run)})
        for step in steps
    ]
    done, groups = _components(needs)
    loops = [
        [steps[one] for one in group]
        for group in groups
        if len(group) > 1 or group[0] in needs[group[0]]
    ]
    return Order([steps[one] for one in done], table.of), loops


def _pieces(table: Order, run: Run) -> Iterator[tuple[Step, int, int]]:
    if run.source is not None and run.source in table.of:
        yield from table.pieces(run)


def _components(needs: list[list[int]]) -> tuple[list[int], list[list[int]]]:
    """Return the nodes, those needed first, and the strongly connected groups."""
    index: dict[int, int] = {}
    lowest: dict[int, int] = {}
    stack: list[int] = []
    standing: set[int] = set()
    done: list[int] = []
    groups: list[list[int]] = []
    for root in range(len(needs)):
        path = [] if root in index else [(root, iter(needs[root]))]
        while path:
            node, rest = path[-1]
            if node not in index:
                index[node] = lowest[node] = len(index)
                stack.append(node)
                standing.add(node)
            for other in rest:
                if other not in index:
                    path.append((other, iter(needs[other])))
                    break
                if other in standing:
                    lowest[node] = min(lowest[node], index[other])
            else:
                path.pop()
                if path:
                    parent = path[-1][0]
                    lowest[parent] = min(lowest[parent], lowest[node])
                if lowest[node] == index[node]:
                    group = stack[stack.index(node) :]
                    del stack[len(stack) - len(group) :]
                    standing.difference_update(group)
                    groups.append(group)
                    done += group[::-1]
    return done, groups


__all__ = ["BITWISE", "Order", "Step", "assigned", "cut", "is_combinational", "order", "reads",
           "touches"]  # fmt: skip
