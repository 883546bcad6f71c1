"""A program that runs as machine code, one cycle at a time. Needs the extra ``fast`` (llvmlite)."""

from __future__ import annotations

import ctypes
from collections.abc import Iterable

from busbox.engines.netlist.errors import NetlistError
from busbox.engines.netlist.llvm_pieces import APART
from busbox.engines.netlist.llvm_text import LlvmText
from busbox.engines.netlist.native import compile_ir
from busbox.engines.netlist.program import PortBits, Program
from busbox.engines.netlist.python_machine import checked

#: The functions of a machine, for callers in C.
_ENTRIES = """
define void @settle_cycle(ptr %s) {
  call void @settle(ptr %s, ptr %s)
  ret void
}
define void @settle_reply_cycle(ptr %s) {
  call void @settle_reply(ptr %s, ptr %s)
  ret void
}
define i32 @edge_cycle(ptr %s) {
  %changed = call i1 @edge(ptr %s, ptr %s)
  %wide = zext i1 %changed to i32
  ret i32 %wide
}
"""


class LlvmMachine:
    """Runs a program as machine code; it has what :class:`PythonMachine` has.

    Parameters
    ----------
    program : what is run
    reply : inputs (or bits of inputs) that :meth:`settle_reply` takes up
    """

    def __init__(self, program: Program, reply: Iterable[PortBits] = ()) -> None:
        native = LlvmText(program)
        functions = [
            native.head(),
            native.settle("settle"),
            native.settle("settle_reply", reply),
            native.edge("edge"),
            _ENTRIES,
        ]
        self.text = APART.join(["\n".join(functions), *native.pieces])
        self._widths = {one.name: one.width for one in program.inputs}
        self._layout = native.layout
        image = native.layout.image(program.outline)
        words = (ctypes.c_uint64 * ((len(image) + native.room) // 8 + 2))()
        self._block = memoryview(words).cast("B")
        self._block[: len(image)] = image
        self._words = words
        self._code = compile_ir(self.text)
        entry = ctypes.CFUNCTYPE(None, ctypes.c_void_p)
        self._settle = entry(self._code.address("settle_cycle"))
        self._settle_reply = entry(self._code.address("settle_reply_cycle"))
        self._edge = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p)(
            self._code.address("edge_cycle")
        )
        self.settle()

    def set(self, name: str, value: int) -> None:
        """Give an input a value; it is taken up by the next settle."""
        self._layout.inputs[name].write(self._block, checked(name, value, self._widths))

    def get(self, name: str) -> int:
        """Return what an output (as of the last settle) or an input shows."""
        place = self._layout.outputs.get(name, self._layout.inputs.get(name))
        if place is None:
            known = ", ".join([*self._layout.inputs, *self._layout.outputs])
            raise NetlistError(f"the port must be one of {known}, not {name}", name)
        return place.read(self._block)

    def settle(self) -> None:
        """Work out all outputs."""
        self._settle(self._words)

    def settle_reply(self) -> None:
        """Work out the outputs anew, where only the inputs of the reply have changed."""
        self._settle_reply(self._words)

    def edge(self) -> bool:
        """Do the rising edge, after a settle; return whether a register or a word changed."""
        return bool(self._edge(self._words))

    def peek_memory(self, name: str, index: int) -> int:
        """Return a word of a memory, by the memory's hierarchical name."""
        return self._layout.memories[name].read(self._block, index)
