"""A design in Amaranth as fast code with equal results, bit for bit. This page is the contract.

Contract
========
1. ``build(design, ports)`` elaborates a design once, and returns its :class:`Program`. ``ports`` names
   the inputs and outputs of the top, the clock and the reset of its one domain among them; which of
   them are inputs follows from what the design drives.
2. All values are bit patterns: 0 <= value < 2**width, whether a signal has a sign or not.
3. A *settle* gives every output the value that follows from inputs, registers and memories. An *edge*
   comes after a settle with the inputs untouched since; it makes one rising edge of the clock. It says
   whether a register or a word of a memory now differs from before. Outputs show it after a settle.
4. The judge is Amaranth's simulator. A read outside of a memory gives 0, a write there does nothing;
   of two write ports that hit the same bit, the one made later wins; division by 0 and its remainder
   are 0; division rounds to minus infinity. A bit that nothing drives shows its initial value.
5. The data of a clocked read port starts at its initial value, and a reset of the domain clears it in
   a cycle in which the port is not enabled, as in that simulator (the netlist text leaves this open).
6. Two things differ from that simulator, on purpose, since it lets bits through that the value does
   not have: ``bit_select`` and ``word_select`` beyond the end of an expression, such as
   ``(~a).bit_select(4, 4)`` on 4 bits, see what the expression's shape says, as hardware does.
7. Refused, by a :class:`NetlistError` with the hierarchical name: more than one clock; a clock that is
   no port of the top, or used as a value; an asynchronous reset; a falling edge; a black box; an inout
   port or a tristate buffer; values that a prover chooses; signals that go round in a loop; a port of
   the top that was not named; anything in the netlist text that its reader does not know.
8. Prints, asserts, assumes and covers are not carried out: ``Program.unexecuted`` names them.
9. ``Program.depends(output)`` and ``Program.reaches(input, output)`` say bit by bit what can reach what
   within a cycle. "No" is certain; "yes" counts wires, not values.
10. :class:`PythonSource` writes a program as lines of Python; ``LlvmText`` (in ``llvm_text``) writes it
    as functions in text for LLVM, and ``compile_ir`` (in ``native``) makes machine code of such text,
    which needs the extra ``fast``. Both know every width and every kind of expression.
11. :class:`PythonMachine`, and ``LlvmMachine`` (in ``llvm_machine``), run a program cycle by cycle,
    with
    ``set``, ``get``, ``settle``, ``settle_reply``, ``edge`` and ``peek_memory``.

What the modules hold
=====================
``text`` reads the netlist text, ``cells`` knows its cells, ``flatten`` joins the hierarchy, ``level``
finds the order, ``lower`` makes expressions (``cell_values``, ``memories``, ``facts`` help it),
``nodes`` and ``program`` are what comes out, ``outline`` is what of it
code needs to be run; ``python_text`` and ``python_source`` write Python;
``layout``, ``llvm_values`` and ``llvm_text`` write text for LLVM.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from busbox.engines.netlist.building import build
    from busbox.engines.netlist.errors import NetlistError
    from busbox.engines.netlist.program import (
        Input,
        Memory,
        Output,
        PortBits,
        Program,
        Register,
        WritePort,
    )
    from busbox.engines.netlist.python_machine import PythonMachine
    from busbox.engines.netlist.python_source import PythonSource

__all__ = [
    "Input", "Memory", "NetlistError", "Output", "PortBits", "Program", "PythonMachine",
    "PythonSource", "Register", "WritePort", "build",
]  # fmt: skip

#: The module of each name; those of ``program`` are left out. Code that is kept needs no builder.
_HOMES = {
    "build": "building", "NetlistError": "errors", "PythonMachine": "python_machine",
    "PythonSource": "python_source",
}  # fmt: skip


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module 'busbox.engines.netlist' has no attribute {name!r}")
    return getattr(import_module(f"busbox.engines.netlist.{_HOMES.get(name, 'program')}"), name)
