"""From the flat netlist to expressions: cells, processes, registers and memories."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from amaranth.hdl import Signal

from busbox.engines.netlist import cells
from busbox.engines.netlist.cell_values import cell_value, match
from busbox.engines.netlist.errors import NetlistError
from busbox.engines.netlist.facts import MemoryFacts
from busbox.engines.netlist.flatten import Flat, Run, Source, bare, target_bits
from busbox.engines.netlist.memories import find_memories, is_clocked, is_state, memory_key, shown
from busbox.engines.netlist.nodes import Graph, Node
from busbox.engines.netlist.order import BITWISE, Order, Step, cut, order, touches
from busbox.engines.netlist.program import Input, Memory, Output, Program, Register, WritePort
from busbox.engines.netlist.text import Assign, Cell, ModuleText, Piece, Process, Sig, Switch


def lower(flat: Flat, facts: Sequence[MemoryFacts], ports: Mapping[str, Signal]) -> Program:
    """Return the program of a flat netlist.

    Raises
    ------
    NetlistError : whatever is not run: see the contract of the package
    """
    return _Lowering(flat, facts, ports).program()


class _Lowering:
    def __init__(
        self, flat: Flat, facts: Sequence[MemoryFacts], ports: Mapping[str, Signal]
    ) -> None:
        self._flat, self._ports = flat, ports
        self._graph = Graph()
        self._order: Order = order(flat)
        self._values: dict[Source | Step, Node] = {}
        self._memories = find_memories(flat, facts)
        self._numbers = {key: number for number, key in enumerate(self._memories)}
        self._clock = self._find_clock()
        self._inputs = self._make_inputs()
        self._states = [one for one in flat.sources if is_state(one)]

    def program(self) -> Program:
        """Return the whole."""
        graph = self._graph
        for number, state in enumerate(self._states):
            kind = "reg" if state.width else "const"
            self._values[state] = graph.node(kind, state.width, extra=number if state.width else 0)
        for step in self._order.steps:
            self._values[step] = self._step(step)
        memories = tuple(self._memory(key) for key in self._memories)
        return Program(
            clock=None if self._clock is None else bare(self._clock.name).split(".", 1)[1],
            inputs=tuple(self._inputs),
            outputs=tuple(self._outputs()),
            registers=tuple(self._register(state) for state in self._states),
            memories=memories,
            unexecuted=tuple(_unexecuted(self._flat)),
        )

    # Clock and ports.

    def _find_clock(self) -> Source | None:
        """Return the one input of the top that is the clock of everything clocked."""
        clock: Source | None = None
        for module in self._flat.modules:
            for cell in module.cells:
                if not is_clocked(cell):
                    continue
                where = f"{module.name}.{bare(shown(cell))}"
                (run,) = self._flat.runs(module, cell.ports["CLK"], cell.line)
                if (
                    run.source is None
                    or run.source.module is not self._flat.top
                    or isinstance(run.source.what, Cell | Process)
                ):
                    raise NetlistError(
                        "its clock must be a port of the top; without one it would never tick",
                        where,
                    )
                if clock is not None and run.source is not clock:
                    raise NetlistError(
                        f"there must be one clock, {clock.name}, not {run.source.name} too", where
                    )
                clock = run.source
        return clock

    def _make_inputs(self) -> list[Input]:
        inputs: list[Input] = []
        for source in self._flat.sources:
            if isinstance(source.what, Cell | Process):
                continue
            name = bare(source.what.name)
            if name not in self._ports:
                raise NetlistError("a port of the top must be among the given ports", source.name)
            if source is self._clock:
                continue
            init = self._ports[name].init & (1 << source.width) - 1
            kind = "input" if source.width else "const"
            number = len(inputs) if source.width else 0
            self._values[source] = self._graph.node(kind, source.width, extra=number)
            inputs.append(Input(name, source.width, init))
        return inputs

    def _outputs(self) -> list[Output]:
        top = self._flat.top
        found = []
        for wire in top.wires.values():
            if wire.port == "output":
                value = self._value(top, (Piece(wire.name, 0, wire.width),), wire.line)
                found.append(Output(bare(wire.name), wire.width, value))
        return found

    # What is connected.

    def _value(self, module: ModuleText, sig: Sig, line: int) -> Node:
        runs = self._flat.runs(module, sig, line)
        return self._graph.cat(*(part for run in runs for part in self._parts(run)))

    def _parts(self, run: Run) -> list[Node]:
        graph = self._graph
        if run.source is None:
            return [graph.const(run.value, run.width)]
        if run.source is self._clock:
            raise NetlistError("the clock must not be used as a value", run.source.name)
        if run.source in self._values:
            return [graph.slice(self._values[run.source], run.low, run.width)]
        return [
            graph.slice(self._values[step], low, width)
            for step, low, width in self._order.pieces(run)
        ]

    # Combinational steps.

    def _step(self, step: Step) -> Node:
        source = step.source
        if isinstance(source.what, Process):
            return self._process(step, source.what)
        assert isinstance(source.what, Cell)
        cell = source.what
        if cell.kind == "$memrd_v2":
            return self._read(source.module, cell)
        values = {
            port: self._value(source.module, _operand(cell, port, step), cell.line)
            for port in cell.ports
            if port != "Y"
        }
        signed = bool(cell.parameters.get("A_SIGNED", 0))
        return cell_value(self._graph, cell.kind, values, step.width, signed)

    def _process(self, step: Step, process: Process) -> Node:
        source = step.source
        wanted = source.target[step.low : step.low + step.width]
        value = self._body(source, process.body, wanted, None)
        if value is None:
            raise NetlistError(
                "a process must assign to every bit on every path", source.name, process.line
            )
        return value

    def _body(
        self,
        source: Source,
        body: list[Assign | Switch],
        wanted: tuple[int, ...],
        value: Node | None,
    ) -> Node | None:
        """Return the value of the wanted bits after a body; None where nothing was assigned yet."""
        bits = frozenset(wanted)
        for one in body:
            if isinstance(one, Assign):
                places = target_bits(self._flat, source, one)
                if bits.isdisjoint(places):
                    continue
                first = places.index(wanted[0])
                sig = cut(one.value, first, len(wanted))
                value = self._value(source.module, sig, one.line)
            elif any(touches(self._flat, source, case.body, bits) for case in one.cases):
                value = self._switch(source, one, wanted, value)
        return value

    def _switch(
        self, source: Source, switch: Switch, wanted: tuple[int, ...], before: Node | None
    ) -> Node | None:
        graph = self._graph
        test = self._value(source.module, switch.test, switch.line)
        value = before
        for case in reversed(switch.cases):
            inner = self._body(source, case.body, wanted, before)
            chosen = graph.const(0 if case.patterns else 1, 1)
            for mask, must in case.patterns:
                chosen = graph.either(chosen, match(graph, test, mask, must))
            if inner is None or value is None:
                if chosen.kind != "const":
                    return None
                value = inner if chosen.extra else value
            else:
                value = graph.mux(chosen, inner, value)
        return value

    # Registers and memories.

    def _register(self, source: Source) -> Register:
        module, cell = source.module, source.what
        assert isinstance(cell, Cell)
        if cell.kind == "$memrd_v2":
            return self._clocked_read(source, cell)
        piece = cell.ports["Q"][0] if len(cell.ports["Q"]) == 1 else None
        wire = module.wires[piece.wire] if isinstance(piece, Piece) else None
        if wire is None or wire.init is None or wire.width != source.width:
            raise NetlistError(
                "the wire of a register must have the attribute init", source.name, cell.line
            )
        following = self._value(module, cell.ports["D"], cell.line)
        return Register(source.name, source.width, wire.init.value, following)

    def _read(self, module: ModuleText, cell: Cell) -> Node:
        """Return the word that a read port's address shows before the edge."""
        key = memory_key(module, cell)
        if key not in self._memories:
            raise NetlistError(f"there is no memory {key[1]}", module.name, cell.line)
        address = self._value(module, cell.ports["ADDR"], cell.line)
        memory = self._memories[key]
        if memory.depth == 0 or memory.width == 0:
            return self._graph.const(0, memory.width)
        if cells.number(cell, "WIDTH", module.name) != memory.width:
            raise NetlistError(f"WIDTH must be {memory.width}", module.name, cell.line)
        return self._graph.node("mem", memory.width, address, extra=self._numbers[key])

    def _clocked_read(self, source: Source, cell: Cell) -> Register:
        """A clocked read port is a register: see :mod:`busbox.engines.netlist.facts`."""
        graph, module = self._graph, source.module
        word = self._read(module, cell)
        address = self._value(module, cell.ports["ADDR"], cell.line)
        memory = self._memories[memory_key(module, cell)]
        mask = cells.number(cell, "TRANSPARENCY_MASK", source.name)
        for number, port in enumerate(memory.writes):
            if mask >> number & 1:
                written = self._write_port(module, port)
                new = graph.both(written.data, written.enable)
                old = graph.both(word, graph.invert(written.enable))
                same = graph.equal(address, written.address)
                word = graph.mux(same, graph.either(old, new), word)
        fact = memory.fact(cell)
        held = self._values[source]
        if fact.reset is not None:
            held = graph.mux(self._reset(fact.reset, source), graph.const(fact.init, source.width),
                             held)  # fmt: skip
        enable = self._value(module, cell.ports["EN"], cell.line)
        if self._value(module, cell.ports["SRST"], cell.line).kind != "const":
            raise NetlistError("SRST must be 0", source.name, cell.line)
        return Register(source.name, source.width, fact.init, graph.mux(enable, word, held))

    def _reset(self, reset: Signal, source: Source) -> Node:
        """Return the reset of the domain, which must be a port for this."""
        for number, one in enumerate(self._inputs):
            if self._ports[one.name] is reset:
                return self._graph.node("input", 1, extra=number)
        raise NetlistError(
            "the reset of the domain of a clocked read port must be an input of the top",
            source.name,
        )

    def _write_port(self, module: ModuleText, cell: Cell) -> WritePort:
        ports = (cell.ports[name] for name in ("ADDR", "DATA", "EN"))
        return WritePort(*(self._value(module, port, cell.line) for port in ports))

    def _memory(self, key: tuple[str, str]) -> Memory:
        text = self._memories[key]
        writes = [self._write_port(text.module, cell) for cell in text.writes]
        used = [
            port
            for port in writes
            if text.depth and not (port.enable.kind == "const" and not port.enable.extra)
        ]
        name = f"{text.module.name}.{bare(key[1])}"
        return Memory(name, text.width, text.depth, text.init, tuple(used))


def _operand(cell: Cell, port: str, step: Step) -> Sig:
    """Return what is connected to an operand; of a cell split into bits: the bits of the step."""
    sig = cell.ports[port]
    if step.width == step.source.width or cell.kind not in BITWISE or port == "S":
        return sig
    return cut(sig, step.low, step.width)


def _unexecuted(flat: Flat) -> list[str]:
    found = []
    for module in flat.modules:
        for cell in module.cells:
            if cell.kind in cells.REPORTING:
                what = cell.parameters.get("FLAVOR", "print")
                text = cell.parameters["FORMAT"]
                found.append(
                    f"{module.name}: {what} {text!r}" if text else f"{module.name}: {what}"
                )
    return found
