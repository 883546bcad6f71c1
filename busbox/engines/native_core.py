"""The text of the core as machine code. Needs the extra ``fast`` (llvmlite)."""

from __future__ import annotations

import ast
import ctypes
from functools import cache
from typing import Any

from busbox.basics.cache import cached
from busbox.core.dispatch import chosen
from busbox.core.layout import REGISTERS, forget
from busbox.core.machine import (
    ARRAYS,
    CHANGING,
    CODED,
    CONSTANTS,
    DECODE,
    NOTED,
    PASSING,
    ROOM,
    STATE,
    cases,
    text,
)
from busbox.core.setup import CoreSetup
from busbox.engines.llvm_function import LlvmLanguage
from busbox.engines.netlist.native import LEVEL, Native, made_by, object_of
from busbox.engines.sources import sources

CODE_MASK = (1 << 17) - 1
#: Numbers of 64 bits before the contents of the memories, by the array that they are.
_SIZES = {
    "state": len(STATE), "x": REGISTERS, "saved": len(CHANGING), "saved_x": REGISTERS,
    "journal": NOTED * ROOM, "code": CODED * (CODE_MASK + 1),
}  # fmt: skip
_PLACES: dict[str, int] = {}
for _name, _size in _SIZES.items():
    _PLACES[_name] = sum(_SIZES[other] for other in _PLACES)
_CONTENTS = sum(_SIZES.values())
_WIDTHS = {"m8": 8, "m16": 16, "m32": 32}

#: How the loop of an engine asks: what it gives is put away, a checkpoint is taken, the core executes.
_CONSULT = f"""
declare void @llvm.memcpy.p0.p0.i64(ptr, ptr, i64, i1)
define i64 @consult(ptr %s, i64 %now, i64 %result, i64 %failed, i64 %until) {{
  %kind_at = getelementptr i64, ptr %s, i64 {STATE.index("kind")}
  %kind = load i64, ptr %kind_at
  %again = icmp eq i64 %kind, {DECODE}
  br i1 %again, label %go, label %fresh
fresh:
  %a0 = getelementptr i64, ptr %s, i64 {STATE.index("now")}
  store i64 %now, ptr %a0
  %a1 = getelementptr i64, ptr %s, i64 {STATE.index("result")}
  store i64 %result, ptr %a1
  %a2 = getelementptr i64, ptr %s, i64 {STATE.index("failed")}
  store i64 %failed, ptr %a2
  %a3 = getelementptr i64, ptr %s, i64 {STATE.index("until")}
  store i64 %until, ptr %a3
  %a4 = getelementptr i64, ptr %s, i64 {STATE.index("noted")}
  store i64 0, ptr %a4
  %a5 = getelementptr i64, ptr %s, i64 {STATE.index("answered")}
  store i64 1, ptr %a5
  %on_at = getelementptr i64, ptr %s, i64 {STATE.index("journal_on")}
  %on = load i64, ptr %on_at
  %is_on = icmp ne i64 %on, 0
  br i1 %is_on, label %save, label %go
save:
  %to = getelementptr i64, ptr %s, i64 {_PLACES["saved"]}
  call void @llvm.memcpy.p0.p0.i64(ptr %to, ptr %s, i64 {8 * len(CHANGING)}, i1 false)
  %x = getelementptr i64, ptr %s, i64 {_PLACES["x"]}
  %to_x = getelementptr i64, ptr %s, i64 {_PLACES["saved_x"]}
  call void @llvm.memcpy.p0.p0.i64(ptr %to_x, ptr %x, i64 {8 * REGISTERS}, i1 false)
  br label %go
go:
  call void @run(ptr %s)
  %left = load i64, ptr %kind_at
  ret i64 %left
}}
"""


class _Core(LlvmLanguage):
    """Writes the text of the core: ``void @run(ptr %s)``."""

    def whole(self) -> str:
        """Return the function's text."""
        for name in (*STATE, *PASSING):
            self._lines += [f"%v_{name} = alloca i64", f"store i64 0, ptr %v_{name}"]
        for place, name in enumerate(STATE):
            self._assign(name, self._add(f"load i64, ptr {self._number(str(place))}"))
        self._lines += ["br label %top", "top:"]
        self._block(ast.parse(text(chosen(cases()))).body)
        self._lines += ["unreachable", "leave:"]
        for place, name in enumerate(CHANGING):
            value = self._value(ast.Name(name))
            self._lines.append(f"store i64 {value}, ptr {self._number(str(place))}")
        body = "\n".join(f"  {line}" for line in [*self._lines, "ret void"])
        return f"define void @run(ptr %s) {{\n{body}\n}}\n"

    def _number(self, index: str) -> str:
        return self._add(f"getelementptr inbounds i64, ptr %s, i64 {index}")

    def _element(self, node: ast.Subscript) -> str:
        assert isinstance(node.value, ast.Name)
        assert node.value.id in ARRAYS
        index, bits = self._value(node.slice), _WIDTHS.get(node.value.id)
        place = _CONTENTS if bits else _PLACES[node.value.id]
        first = self._number(str(place))
        return self._add(f"getelementptr inbounds i{bits or 64}, ptr {first}, i64 {index}")

    def _width(self, node: ast.Subscript) -> int:
        assert isinstance(node.value, ast.Name)
        return _WIDTHS.get(node.value.id, 64)

    def _value(self, node: ast.expr) -> str:
        if isinstance(node, ast.Name) and node.id in CONSTANTS:
            return str(CONSTANTS[node.id])
        return super()._value(node)


@cache
def _code() -> Native:
    key = b"\n".join([b"core", made_by(LEVEL), sources()])
    return Native(cached(key, lambda: object_of(_Core().whole() + _CONSULT)))


class NativeExecutor:
    """Executes as machine code (see :class:`busbox.core.layout.Executor`)."""

    code_mask = CODE_MASK

    def __init__(self, setup: CoreSetup, contents: bytes) -> None:
        self._native = _code()
        self._words = (ctypes.c_int64 * (_CONTENTS + -(-len(contents) // 8)))()
        block = memoryview(self._words).cast("B")
        numbers = block.cast("q")
        self.state, self.x, self.saved, self.saved_x, self.journal, self.code = (
            numbers[_PLACES[name] : _PLACES[name] + size] for name, size in _SIZES.items()
        )
        self.m8 = block[8 * _CONTENTS : 8 * _CONTENTS + len(contents)]
        self.m8[:] = contents
        self.m16, self.m32 = self.m8.cast("H"), self.m8.cast("I")
        self._run: Any = ctypes.CFUNCTYPE(None, ctypes.c_void_p)(self._native.address("run"))
        #: Where the numbers are, and the function by which the loop of an engine asks.
        self.address = ctypes.addressof(self._words)
        self.entry = self._native.address("consult")

    def run(self) -> None:
        """Execute until an access is due, or another reason in ``kind``."""
        self._run(self.address)

    def forget(self, address: int) -> None:
        """Take it that the word at an address has changed."""
        forget(self.code, self.code_mask, address)
