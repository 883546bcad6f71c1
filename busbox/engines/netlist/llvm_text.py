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

Both pointers are that of the block. Memories are reached through ``%m`` alone, all else through ``%s``:
so the optimiser knows that a write to a memory leaves registers as they are.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from busbox.engines.netlist.layout import Layout, lay_out
from busbox.engines.netlist.llvm_values import DIVISIONS, Values, division_width, long_division
from busbox.engines.netlist.program import Memory, Output, PortBits, Program, in_order

#: The parameters of every function.
POINTERS = "ptr noalias %s, ptr noalias %m"


class LlvmText:
    """Writes a program as text for LLVM.

    Parameters
    ----------
    program : what is written
    layout : where things live; from byte 0 on, if left out
    """

    def __init__(self, program: Program, layout: Layout | None = None) -> None:
        self._program = program
        self.layout = layout or lay_out(program.outline)

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
        values = Values(self._program, self.layout)
        for node in in_order(one.value for one in outputs):
            values.value(node)
        for one in outputs:
            if one.width:
                place = self.layout.outputs[one.name]
                values.store(values.pointer(place), place, values.value(one.value))
        return _function(f"void @{name}({POINTERS})", values.lines, "void")

    def edge(self, name: str) -> str:
        """Return the function of the rising edge; it returns whether a register or a word changed."""
        program = self._program
        values = Values(program, self.layout)
        for node in in_order(program.roots()[len(program.outputs) :]):
            values.value(node)
        registers = [
            place
            for place, one in enumerate(program.registers)
            if one.width and not (one.next.kind == "reg" and one.next.extra == place)
        ]
        old = [values.load(values.pointer(place), place)
               for place in map(self.layout.registers.__getitem__, registers)]  # fmt: skip
        changed = "false"
        for number, before in zip(registers, old, strict=True):
            register, place = program.registers[number], self.layout.registers[number]
            after = values.value(register.next)
            values.store(values.pointer(place), place, after)
            differs = values.add(f"icmp ne i{place.width} {before}, {after}")
            changed = values.add(f"or i1 {changed}, {differs}")
        for number, memory in enumerate(program.memories):
            changed = self._write_memory(values, number, memory, changed)
        return _function(f"i1 @{name}({POINTERS})", values.lines, f"i1 {changed}")

    def _write_memory(self, values: Values, number: int, memory: Memory, changed: str) -> str:
        """Write through all ports, in order; compare words before the first and after the last."""
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


def _function(head: str, lines: list[str], result: str) -> str:
    body = "\n".join(f"  {line}" for line in [*lines, f"ret {result}"])
    return f"define internal {head} alwaysinline {{\n{body}\n}}\n"
