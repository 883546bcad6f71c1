"""A program as text for LLVM: functions over a block of bytes, to which an engine adds its own.

::

    native = LlvmText(program)
    native.head()                              once for the module
    native.settle("settle")                    define internal void @settle(ptr %s, ptr %m)
    native.settle("after_reply", {"reply"})    only what these inputs reach
    native.settle("look", shown={"status"})    only these outputs
    native.edge("edge")                        define internal i1 @edge(ptr %s, ptr %m): whether
                                               it changed

``native.layout`` says where inputs, outputs, registers and memories are in the block. What is worked
out on the way is kept in no place: all functions are inlined, and the optimiser brings equal work
together. The text needs nothing but this module's head.

A function of very many nodes is several (:mod:`busbox.engines.netlist.llvm_pieces`): ``native.pieces``
are modules that belong to the text, and ``native.room`` the bytes that they need behind the block.

Both pointers are that of the block. Memories are reached through ``%m`` alone, all else through ``%s``:
so the optimiser knows that a write to a memory leaves registers as they are.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from busbox.engines.netlist.layout import Layout, lay_out
from busbox.engines.netlist.llvm_pieces import MEMORIES, REGISTERS, WHOLE, Pieces
from busbox.engines.netlist.llvm_values import DIVISIONS, Values, division_width, long_division
from busbox.engines.netlist.nodes import Node
from busbox.engines.netlist.program import Output, PortBits, Program, in_order

#: The parameters of every function.
POINTERS = "ptr noalias %s, ptr noalias %m"


class LlvmText:
    """Writes a program as text for LLVM.

    Parameters
    ----------
    program : what is written
    layout : where things live; from byte 0 on, if left out
    end : the first byte behind the block (a multiple of 8); that of the layout, if left out

    Attributes
    ----------
    pieces : modules that belong to the text written so far
    room : bytes that it needs from ``end`` on
    """

    def __init__(
        self, program: Program, layout: Layout | None = None, end: int | None = None
    ) -> None:
        self._program = program
        self.layout = layout or lay_out(program.outline)
        self._end = self.layout.size if end is None else end
        self.pieces: list[str] = []
        self.room = 0

    def head(self) -> str:
        """Return what the functions need of the module, once for all of them."""
        divisions = [
            division_width(node)
            for node in in_order(self._program.roots())
            if node.kind in DIVISIONS
        ]
        widths = sorted({width for width in divisions if width is not None})
        return "declare i64 @llvm.ctpop.i64(i64)\n" + "".join(map(long_division, widths))

    def settle(
        self,
        name: str,
        from_inputs: Iterable[PortBits] | None = None,
        shown: Iterable[str] | None = None,
    ) -> str:
        """Return the function that gives outputs their values.

        Parameters
        ----------
        from_inputs : only outputs that these inputs (or bits of inputs) reach; all, if left out
        shown : only outputs of these names; all, if left out
        """
        outputs: Sequence[Output] = self._program.outputs
        if shown is not None:
            outputs = [self._program.output(one) for one in shown]
        if from_inputs is not None:
            sources = list(from_inputs)
            outputs = [
                one
                for one in outputs
                if any(self._program.reaches(source, one.name) for source in sources)
            ]
        nodes = in_order(one.value for one in outputs)
        if len(nodes) > WHOLE:
            pieces = Pieces(self._program, self.layout, nodes)
            rows = [_Piece(lines) for lines in pieces.rows(outputs)]
            return self._in_pieces(name, pieces.room, rows)
        values = Values(self._program, self.layout)
        for node in nodes:
            values.value(node)
        for one in outputs:
            if one.width:
                place = self.layout.outputs[one.name]
                values.store(values.pointer(place), place, values.value(one.value))
        return _function(f"void @{name}({POINTERS})", values.lines, "void")

    def edge(self, name: str) -> str:
        """Return the function of the rising edge; it returns whether a register or a word changed."""
        program = self._program
        nodes = in_order(program.roots()[len(program.outputs) :])
        registers = [
            place
            for place, one in enumerate(program.registers)
            if one.width and not (one.next.kind == "reg" and one.next.extra == place)
        ]
        if len(nodes) > WHOLE:
            return self._edge_in_pieces(name, nodes, registers)
        values = Values(program, self.layout)
        for node in nodes:
            values.value(node)
        changed = self._move(values, registers)
        changed = self._write_memories(values, range(len(program.memories)), changed)
        return _function(f"i1 @{name}({POINTERS})", values.lines, f"i1 {changed}")

    def _edge_in_pieces(self, name: str, nodes: Sequence[Node], registers: Sequence[int]) -> str:
        """Write the edge as pieces: first all that is worked out, then what changes."""
        program = self._program
        needed = [program.registers[number].next for number in registers]
        for memory in program.memories:
            for port in memory.writes:
                needed += [port.enable, port.address, port.data]
        pieces = Pieces(program, self.layout, nodes, needed)
        rows = [_Piece(lines) for lines in pieces.rows()]
        for at in range(0, len(registers), REGISTERS):
            values = pieces.later()
            changed = self._move(values, registers[at : at + REGISTERS])
            rows.append(_Piece(values.lines, changed))
        for at in range(0, len(program.memories), MEMORIES):
            values, last = pieces.later(), min(at + MEMORIES, len(program.memories))
            changed = self._write_memories(values, range(at, last), "false")
            rows.append(_Piece(values.lines, changed))
        return self._in_pieces(name, pieces.room, rows, changing=True)

    def _in_pieces(
        self, name: str, room: int, rows: Sequence[_Piece], changing: bool = False
    ) -> str:
        """Keep the pieces of a function; return the one that calls them."""
        self.room = max(self.room, room)
        lines = [f"%w = getelementptr i8, ptr %s, i64 {self._end}"]
        declared, changed = "", "false"
        for number, piece in enumerate(rows):
            kind, entry = "void" if piece.changed is None else "i1", f"{name}_piece_{number}"
            result = kind if piece.changed is None else f"i1 {piece.changed}"
            head = f"{kind} @{entry}({POINTERS}, ptr noalias %w)"
            self.pieces.append(self.head() + _define(f"define {head}", piece.lines, result))
            declared += f"declare {kind} @{entry}(ptr, ptr, ptr)\n"
            call = f"call {kind} @{entry}(ptr %s, ptr %m, ptr %w)"
            if piece.changed is None:
                lines.append(call)
            else:
                lines.append(f"%c{number} = {call}")
                lines.append(f"%any{number} = or i1 {changed}, %c{number}")
                changed = f"%any{number}"
        head = f"{'i1' if changing else 'void'} @{name}({POINTERS})"
        return declared + _function(head, lines, f"i1 {changed}" if changing else "void")

    def _move(self, values: Values, registers: Sequence[int]) -> str:
        """Write what registers take next; return whether one changes."""
        program = self._program
        old = [values.load(values.pointer(place), place)
               for place in map(self.layout.registers.__getitem__, registers)]  # fmt: skip
        changed = "false"
        for number, before in zip(registers, old, strict=True):
            register, place = program.registers[number], self.layout.registers[number]
            after = values.value(register.next)
            values.store(values.pointer(place), place, after)
            differs = values.add(f"icmp ne i{place.width} {before}, {after}")
            changed = values.add(f"or i1 {changed}, {differs}")
        return changed

    def _write_memories(self, values: Values, numbers: Iterable[int], changed: str) -> str:
        """Write memories; return whether a word changes, or something did before."""
        for number in numbers:
            changed = self._write_memory(values, number, changed)
        return changed

    def _write_memory(self, values: Values, number: int, changed: str) -> str:
        """Write through all ports, in order; compare words before the first and after the last."""
        memory = self._program.memories[number]
        place, width = values.memory_place(number), memory.width
        if not memory.writes or not width:
            return changed
        ports = []
        for port in memory.writes:
            index, inside = values.index(port.address, memory.depth)
            enable = values.value(port.enable)
            if inside is not None:
                enable = values.add(f"select i1 {inside}, i{width} {enable}, i{width} 0")
            pointer = values.element(place, index)
            ports.append((pointer, enable, values.value(port.data)))
        before = [values.load(pointer, place) for pointer, _, _ in ports]
        for pointer, enable, data in ports:
            old = values.load(pointer, place)
            kept = values.add(f"and i{width} {old}, {values.add(f'xor i{width} {enable}, -1')}")
            new = values.add(f"and i{width} {data}, {enable}")
            values.store(pointer, place, values.add(f"or i{width} {kept}, {new}"))
        for (pointer, _, _), old in zip(ports, before, strict=True):
            differs = values.add(f"icmp ne i{width} {old}, {values.load(pointer, place)}")
            changed = values.add(f"or i1 {changed}, {differs}")
        return changed


@dataclass(frozen=True)
class _Piece:
    """The lines of a piece, and what says whether it changed something (None: it cannot)."""

    lines: list[str]
    changed: str | None = None


def _function(head: str, lines: list[str], result: str) -> str:
    return _define(f"define internal {head} alwaysinline", lines, result)


def _define(head: str, lines: list[str], result: str) -> str:
    body = "\n".join(f"  {line}" for line in [*lines, f"ret {result}"])
    return f"{head} {{\n{body}\n}}\n"
