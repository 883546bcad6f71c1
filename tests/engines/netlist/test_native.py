"""Machine code: what is refused before it can crash, and where things live."""

from __future__ import annotations

import ctypes
from itertools import pairwise

import pytest
from amaranth.hdl import ClockDomain, Module, Signal
from amaranth.lib.memory import Memory

from busbox.basics.errors import EngineError
from busbox.engines.netlist import Program, build
from tests.engines.netlist.apart import Apart

pytest.importorskip("llvmlite")


def refusal(text: str) -> str:
    """Return why a module's text is refused; it is compiled in the other process."""
    from busbox.engines.netlist.native import compile_ir

    with pytest.raises(EngineError) as caught:
        compile_ir(text).address("wanted")
    return str(caught.value)


def test_text_that_is_not_valid_is_refused(apart: Apart) -> None:
    """A module that does not parse or verify is an error, not a crash."""
    said = apart(refusal, "define i32 @wanted() { ret i64 0 }")
    assert said.startswith("the module's text must be valid: ")
    assert "i32" in said


def test_a_missing_function_is_refused_before_it_is_called(apart: Apart) -> None:
    """A call of what the process has not is an error when it is loaded, whoever put it there."""
    text = "declare void @kettle()\ndefine void @wanted() { call void @kettle()\n ret void }"
    assert apart(refusal, text) == "native code needs the function kettle, which is missing"
    wide = "define i128 @wanted(i128 %a, i128 %b) { %q = udiv i128 %a, %b\n ret i128 %q }"
    assert apart(refusal, wide) == "native code needs the function __udivti3, which is missing"


def test_a_function_that_is_not_defined_has_no_address(apart: Apart) -> None:
    """Asking for a name that the text does not define is an error."""
    text = "define void @other() { ret void }"
    assert apart(refusal, text) == "the module must define the function wanted"


def counter() -> Program:
    """Return a program with a register, a wide input, a memory and an output."""
    domain = ClockDomain("sync", reset_less=True)
    m, count, key, out = Module(), Signal(3, init=5), Signal(70), Signal(70)
    m.domains += domain
    m.submodules.store = store = Memory(shape=12, depth=3, init=[1, 2, 0xABC])
    write = store.write_port()
    m.d.comb += [write.addr.eq(count), write.data.eq(key), write.en.eq(1)]
    m.d.sync += count.eq(count + 1)
    m.d.comb += out.eq(key + count)
    return build(m, {"clk": domain.clk, "key": key, "out": out})


def test_everything_has_a_place_of_its_own() -> None:
    """Places do not overlap, are aligned to their size, and hold initial values at the start."""
    from busbox.engines.netlist.layout import lay_out

    program = counter()
    layout = lay_out(program.outline, start=16)
    places = [
        *layout.registers,
        *layout.inputs.values(),
        *layout.outputs.values(),
        *layout.memories.values(),
    ]
    spans = sorted((place.offset, place.end) for place in places)
    assert spans[0][0] == 16
    assert spans[-1][1] <= layout.size
    assert all(end <= start for (_, end), (start, _) in pairwise(spans))
    assert all(place.offset % min(place.size, 8) == 0 for place in places)
    assert [place.size for place in places] == [1, 16, 16, 2]
    image = layout.image(program.outline)
    assert layout.registers[0].read(image) == 5
    assert [layout.memories["top.store"].read(image, at) for at in range(3)] == [1, 2, 0xABC]


def appended() -> list[int]:
    """Run a loop that was appended to a program's text, on a layout that leaves room before it."""
    from busbox.engines.netlist.layout import lay_out
    from busbox.engines.netlist.llvm_text import LlvmText
    from busbox.engines.netlist.native import compile_ir

    program = counter()
    native = LlvmText(program, lay_out(program.outline, start=8))
    loop = """
define void @run(ptr %s, i64 %cycles) {
entry:
  br label %cycle
cycle:
  %at = phi i64 [ 0, %entry ], [ %next, %cycle ]
  call void @settle(ptr %s, ptr %s)
  %changed = call i1 @edge(ptr %s, ptr %s)
  %next = add i64 %at, 1
  %more = icmp ult i64 %next, %cycles
  br i1 %more, label %cycle, label %end
end:
  store i64 %next, ptr %s
  ret void
}
"""
    code = compile_ir(native.head() + native.settle("settle") + native.edge("edge") + loop)
    block = native.layout.image(program.outline)
    native.layout.inputs["key"].write(block, (1 << 69) | 7)
    memory = (ctypes.c_char * len(block)).from_buffer(block)
    run = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_uint64)(code.address("run"))
    run(ctypes.addressof(memory), 10)
    stored = [native.layout.memories["top.store"].read(block, at) for at in range(3)]
    register = native.layout.registers[0].read(block)
    return [int.from_bytes(block[:8], "little"), register, *stored,
            native.layout.outputs["out"].read(block)]  # fmt: skip


def test_an_engine_appends_its_own_loop(apart: Apart) -> None:
    """A loop in the same module's text runs settle and edge, and keeps the room before the layout."""
    assert apart(appended) == [10, 7, 7, 7, 7, (1 << 69) + 7 + 6]
