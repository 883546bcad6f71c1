"""The small language of :mod:`busbox.engines.loop` as text for LLVM.

``LlvmLanguage`` knows the language alone, ``LlvmFunction`` the loop of a design.
"""

from __future__ import annotations

import ast
from abc import ABC, abstractmethod

from busbox.engines.llvm_layout import COMMANDS, CORE, LoopLayout
from busbox.engines.loop import REASONS, STATE, TEMPORARY
from busbox.engines.netlist.layout import Place
from busbox.engines.netlist.llvm_text import POINTERS

_OPERATIONS: dict[type[ast.operator], str] = {
    ast.Add: "add",
    ast.Sub: "sub",
    ast.Mult: "mul",
    ast.BitAnd: "and",
    ast.BitOr: "or",
    ast.BitXor: "xor",
    ast.LShift: "shl",
    ast.RShift: "ashr",
    ast.FloorDiv: "sdiv",
    ast.Mod: "srem",
}
_COMPARISONS: dict[type[ast.cmpop], str] = {
    ast.Lt: "slt",
    ast.LtE: "sle",
    ast.Gt: "sgt",
    ast.GtE: "sge",
    ast.Eq: "eq",
    ast.NotEq: "ne",
}


class LlvmLanguage(ABC):
    """Text of one function, whose names live on the stack: ``%v_NAME``."""

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._count = 0

    @abstractmethod
    def _element(self, node: ast.Subscript) -> str:
        """Return a pointer to a number in a row of them."""

    def _width(self, node: ast.Subscript) -> int:
        """Return the bits of such a number."""
        return 64

    def _call(self, name: str) -> None:
        """Write what a call does."""
        raise AssertionError(name)

    def _leave(self, reason: str | None) -> None:
        """Leave the function; ``reason`` is what it returns."""
        self._go("leave")

    def _new(self) -> str:
        self._count += 1
        return f"t{self._count}"

    def _add(self, text: str) -> str:
        name = f"%{self._new()}"
        self._lines.append(f"{name} = {text}")
        return name

    def _assign(self, name: str, value: str) -> None:
        self._lines.append(f"store i64 {value}, ptr %v_{name}")

    # Statements.

    def _block(self, body: list[ast.stmt]) -> None:
        for statement in body:
            match statement:
                case ast.Assign(targets=[target], value=value):
                    self._store(target, self._value(value))
                case ast.If(test=test, body=yes, orelse=no):
                    self._if(test, yes, no)
                case ast.Expr(value=ast.Call(func=ast.Name(id=name))):
                    self._call(name)
                case ast.Continue():
                    self._go("top")
                case ast.Return(value=ast.Name(id=name)):
                    self._leave(name)
                case ast.Return(value=None):
                    self._leave(None)
                case _:
                    raise AssertionError(ast.unparse(statement))

    def _go(self, label: str) -> None:
        self._lines += [f"br label %{label}", f"{self._new()}:"]

    def _if(self, test: ast.expr, yes: list[ast.stmt], no: list[ast.stmt]) -> None:
        label = self._new()
        condition = self._truth(test)
        self._lines += [
            f"br i1 {condition}, label %{label}_yes, label %{label}_no",
            f"{label}_yes:",
        ]
        self._block(yes)
        self._lines += [f"br label %{label}_end", f"{label}_no:"]
        self._block(no)
        self._lines += [f"br label %{label}_end", f"{label}_end:"]

    def _store(self, target: ast.expr, value: str) -> None:
        match target:
            case ast.Subscript():
                bits = self._width(target)
                value = self._resized(value, 64, bits)
                self._lines.append(f"store i{bits} {value}, ptr {self._element(target)}")
            case ast.Name(id=name):
                self._assign(name, value)

    def _resized(self, value: str, width: int, new: int) -> str:
        if width == new:
            return value
        return self._add(f"{'trunc' if new < width else 'zext'} i{width} {value} to i{new}")

    # Expressions.

    def _value(self, node: ast.expr) -> str:
        match node:
            case ast.Constant(value=int(value)):
                return str(value)
            case ast.UnaryOp(op=ast.USub(), operand=ast.Constant(value=int(value))):
                return str(-value)
            case ast.Name(id=name):
                return self._add(f"load i64, ptr %v_{name}")
            case ast.Subscript():
                bits = self._width(node)
                found = self._add(f"load i{bits}, ptr {self._element(node)}")
                return self._resized(found, bits, 64)
            case ast.BinOp(left=left, op=op, right=right):
                a, b = self._value(left), self._value(right)
                return self._add(f"{_OPERATIONS[type(op)]} i64 {a}, {b}")
        raise AssertionError(ast.unparse(node))

    def _truth(self, node: ast.expr) -> str:
        match node:
            case ast.BoolOp(op=op, values=values):
                word = "and" if isinstance(op, ast.And) else "or"
                found = self._truth(values[0])
                for value in values[1:]:
                    found = self._add(f"{word} i1 {found}, {self._truth(value)}")
                return found
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                a, b = self._value(left), self._value(right)
                return self._add(f"icmp {_COMPARISONS[type(op)]} i64 {a}, {b}")
        return self._add(f"icmp ne i64 {self._value(node)}, 0")


class LlvmFunction(LlvmLanguage):
    """One function of the small language: ``i64 @name(ptr %s)``.

    Names live on the stack, which the optimiser turns into registers; what is state is loaded at the
    beginning and stored at the end. What the loop records, and reads of commands, is reached through
    ``%r`` alone: another name of the block, as ``%m`` is for memories.
    """

    def __init__(self, layout: LoopLayout, name: str, text: str, parts: int) -> None:
        super().__init__()
        self._layout, self._name, self._count_of_parts = layout, name, parts
        self._tree = ast.parse(text)

    def text(self) -> str:
        """Return the function's text."""
        again = self._name == "loop"
        for name in (*STATE, *TEMPORARY, "why"):
            self._lines.append(f"%v_{name} = alloca i64")
            self._lines.append(f"store i64 0, ptr %v_{name}")
        for place, name in enumerate(STATE):
            self._assign(name, self._add(f"load i64, ptr {self._pointer(8 * place)}"))
        self._lines += ["br label %top", "top:"]
        self._block(self._tree.body)
        self._lines += ["br label %top" if again else "br label %leave", "leave:"]
        for place, name in enumerate(STATE):
            value = self._value(ast.Name(name))
            self._lines.append(f"store i64 {value}, ptr {self._pointer(8 * place)}")
        self._lines.append(f"ret i64 {self._value(ast.Name('why'))}")
        body = "\n".join(f"  {line}" for line in self._lines)
        name = self._name
        return (
            f"define internal i64 @in_{name}({POINTERS}, ptr noalias %r) noinline {{\n{body}\n}}\n"
            f"define i64 @{name}(ptr %s) {{\n"
            f"  %why = call i64 @in_{name}(ptr %s, ptr %s, ptr %s)\n  ret i64 %why\n}}\n"
        )

    def _pointer(self, offset: int, base: str = "%s") -> str:
        return self._add(f"getelementptr inbounds i8, ptr {base}, i64 {offset}")

    def _leave(self, reason: str | None) -> None:
        """Leave the loop, and say why."""
        assert reason is not None
        self._assign("why", str(REASONS[reason]))
        super()._leave(reason)

    def _store(self, target: ast.expr, value: str) -> None:
        match target:
            case ast.Name(id=name) if name.startswith("in_"):
                place = self._layout.design.inputs.get(name.removeprefix("in_"))
                if place is not None:
                    self._put(place, value)
            case _:
                super()._store(target, value)

    # Places in the block.

    def _get(self, place: Place) -> str:
        """Return the number at a place, in its own width."""
        bits = 8 * place.size
        pointer = self._pointer(place.offset)
        found = self._add(f"load i{bits}, ptr {pointer}, align {min(8, place.size)}")
        return self._resized(found, bits, place.width)

    def _put(self, place: Place, value: str) -> None:
        """Store a number of 64 bits at a place."""
        self._put_wide(place, self._resized(value, 64, 8 * place.size))

    def _put_wide(self, place: Place, value: str) -> None:
        pointer = self._pointer(place.offset)
        self._lines.append(
            f"store i{8 * place.size} {value}, ptr {pointer}, align {min(8, place.size)}"
        )

    def _outside(self, number: int) -> str:
        """Return one of the pointers that follow the state."""
        return self._add(f"load ptr, ptr {self._pointer(8 * (len(STATE) + number))}")

    def _element(self, node: ast.Subscript) -> str:
        """Return a pointer to a number in a row of them."""
        assert isinstance(node.value, ast.Name)
        index = self._value(node.slice)
        if node.value.id == "commands":
            return self._add(f"getelementptr i64, ptr {self._outside(COMMANDS)}, i64 {index}")
        if node.value.id == "core_numbers":
            return self._add(f"getelementptr i64, ptr {self._outside(CORE)}, i64 {index}")
        place = getattr(self._layout, node.value.id)
        return self._add(f"getelementptr i64, ptr {self._pointer(place.offset, '%r')}, i64 {index}")

    def _value(self, node: ast.expr) -> str:
        match node:
            case ast.Name(id=name) if name.startswith("out_"):
                place = self._layout.design.outputs[name.removeprefix("out_")]
                return self._resized(self._get(place), place.width, 64)
        return super()._value(node)

    def _assign_or(self, name: str, bit: str) -> None:
        """Or one bit to a number."""
        wide = self._resized(bit, 1, 64)
        self._assign(name, self._add(f"or i64 {self._value(ast.Name(name))}, {wide}"))
