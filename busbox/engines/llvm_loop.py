"""The loop as text for LLVM, and where everything that it uses lives in one block of bytes."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from busbox.engines.kernel import Parts, guard, seen
from busbox.engines.loop import LOGGED, LOOK, LOOP, REASONS, STATE, STAYS, TEMPORARY
from busbox.engines.netlist.layout import Layout, Place, lay_out, size_of
from busbox.engines.netlist.llvm_text import POINTERS, LlvmText

#: Accesses, and records of one device, that are kept before the loop returns.
ROOM = 1 << 14
#: Parts up to which all are put into the loop; more would take long to compile.
INLINE = 6
#: What a row of a part says.
OF_A_PART = ("changed", "told", "stop", "full")
#: Numbers before the design: the state, and the address of the commands.
_BEFORE = len(STATE) + 1


@dataclass(frozen=True)
class Records:
    """Rows with words that are seen in them: a buffer that the loop fills.

    Attributes
    ----------
    source : the output that is looked at
    last : its word in the row before; heeded : bits that the loop stops for; heeded_notes : whether
        it stops for notes
    counted : how many records there are; buffer : of each, the row and the word
    mask : the bits for which a word that differs is kept; 0: only words with bit 0 are kept
    """

    source: Place
    last: Place
    heeded: Place
    heeded_notes: Place
    counted: Place
    buffer: Place
    mask: int

    @property
    def stride(self) -> int:
        """Bytes of a record."""
        return self.buffer.size

    def count(self, block: memoryview) -> int:
        """Return how many records there are."""
        return self.counted.read(block)

    def take(self, block: memoryview) -> tuple[list[int], list[int]]:
        """Return rows and words, and forget them."""
        count = self.count(block)
        if not count:
            return [], []
        self.counted.write(block, 0)
        first = self.buffer.offset
        table = np.frombuffer(block[first : first + count * self.stride], dtype="<u8")
        rows, *parts = table.reshape(count, -1).T.tolist()
        words = parts.pop()
        for part in reversed(parts):
            words = [high << 64 | low for high, low in zip(words, part, strict=True)]
        return rows, words


@dataclass(frozen=True)
class LoopLayout:
    """The block: state, address of commands, the design, stays, log and records."""

    design: Layout
    stays: Place
    log: Place
    seen: dict[int, Records]
    guards: dict[int, Records]
    size: int

    @property
    def records(self) -> list[Records]:
        """The records of all devices."""
        return [*self.seen.values(), *self.guards.values()]


def lay_out_loop(parts: Parts) -> LoopLayout:
    """Return where everything lives."""
    design = lay_out(parts.program, 8 * _BEFORE)
    end = design.size

    def place(name: str, size: int, count: int = 1, width: int | None = None) -> Place:
        nonlocal end
        found = Place(name, end, 8 * size if width is None else width, size, count)
        end = -(-found.end // 8) * 8
        return found

    def records(name: str, mask: int) -> Records:
        source = design.outputs[name]
        size = max(8, size_of(source.width))
        return Records(
            source,
            place(f"{name}_last", size, width=source.width),
            place(f"{name}_heeded", size, width=source.width),
            place(f"{name}_heeded_notes", 8, width=1),
            place(f"{name}_count", 8),
            place(f"{name}_records", 8 + size, ROOM),
            mask,
        )

    stays = place("stays", 8, STAYS * parts.slots)
    log = place("log", 8, LOGGED * ROOM)
    views = parts.design.views
    return LoopLayout(
        design,
        stays,
        log,
        {slot: records(seen(slot), view.pin_mask) for slot, view in views.items()},
        {slot: records(guard(slot), 0) for slot in views},
        end,
    )


class Writer:
    """Writes the module of a design: ``loop``, ``look`` and ``watch``."""

    def __init__(self, parts: Parts, layout: LoopLayout) -> None:
        self._parts, self._layout = parts, layout
        self._native = LlvmText(parts.program, layout.design)
        self._quiet_parts = parts.quiet()

    def text(self) -> str:
        """Return the module's text."""
        native, parts = self._native, self._parts
        return "\n".join(
            [
                native.head(),
                native.settle("settle", shown=parts.outputs),
                native.settle("settle_reply", ["reply"], parts.outputs),
                native.settle("settle_watch", shown=parts.watched),
                native.edge("edge"),
                *self._quiet(),
                self._function("loop", LOOP),
                self._function("look", LOOK),
                self._function("watch", "settle_watch()"),
            ]
        )

    def _quiet(self) -> Iterator[str]:
        """Yield the functions of the parts of a design while nothing is on the bus."""
        for number, part in enumerate(self._quiet_parts):
            native = LlvmText(part, self._layout.design)
            yield native.settle(f"settle_part_{number}")
            yield native.edge(f"edge_part_{number}")
            how = "alwaysinline" if len(self._quiet_parts) <= INLINE else "noinline"
            outputs = {one.name for one in part.outputs}
            yield _Function(self._layout, "", "", 0).part(number, outputs, how)

    def _function(self, name: str, text: str) -> str:
        return _Function(self._layout, name, text, len(self._quiet_parts)).text()


_OPERATIONS: dict[type[ast.operator], str] = {
    ast.Add: "add",
    ast.Sub: "sub",
    ast.Mult: "mul",
    ast.BitAnd: "and",
    ast.BitOr: "or",
    ast.LShift: "shl",
    ast.RShift: "lshr",
}
_COMPARISONS: dict[type[ast.cmpop], str] = {
    ast.Lt: "slt",
    ast.LtE: "sle",
    ast.Gt: "sgt",
    ast.GtE: "sge",
    ast.Eq: "eq",
    ast.NotEq: "ne",
}


class _Function:
    """One function of the small language: ``i64 @name(ptr %s)``.

    Names live on the stack, which the optimiser turns into registers; what is state is loaded at the
    beginning and stored at the end. What the loop records, and reads of commands, is reached through
    ``%r`` alone: another name of the block, as ``%m`` is for memories.
    """

    def __init__(self, layout: LoopLayout, name: str, text: str, parts: int) -> None:
        self._layout, self._name, self._count_of_parts = layout, name, parts
        self._lines: list[str] = []
        self._count = 0
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

    def _new(self) -> str:
        self._count += 1
        return f"t{self._count}"

    def _add(self, text: str) -> str:
        name = f"%{self._new()}"
        self._lines.append(f"{name} = {text}")
        return name

    def _pointer(self, offset: int, base: str = "%s") -> str:
        return self._add(f"getelementptr inbounds i8, ptr {base}, i64 {offset}")

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
                    self._assign("why", str(REASONS[name]))
                    self._go("leave")
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
                self._lines.append(f"store i64 {value}, ptr {self._element(target)}")
            case ast.Name(id=name) if name.startswith("in_"):
                place = self._layout.design.inputs.get(name.removeprefix("in_"))
                if place is not None:
                    self._put(place, value)
            case ast.Name(id=name):
                self._assign(name, value)

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

    def _resized(self, value: str, width: int, new: int) -> str:
        if width == new:
            return value
        return self._add(f"{'trunc' if new < width else 'zext'} i{width} {value} to i{new}")

    def _element(self, node: ast.Subscript) -> str:
        """Return a pointer to a number in a row of them."""
        assert isinstance(node.value, ast.Name)
        index = self._value(node.slice)
        if node.value.id == "commands":
            address = self._add(f"load ptr, ptr {self._pointer(8 * len(STATE))}")
            return self._add(f"getelementptr i64, ptr {address}, i64 {index}")
        place = {"log": self._layout.log, "stays": self._layout.stays}[node.value.id]
        return self._add(f"getelementptr i64, ptr {self._pointer(place.offset, '%r')}, i64 {index}")

    # Expressions.

    def _value(self, node: ast.expr) -> str:
        match node:
            case ast.Constant(value=int(value)):
                return str(value)
            case ast.UnaryOp(op=ast.USub(), operand=ast.Constant(value=int(value))):
                return str(-value)
            case ast.Name(id=name) if name.startswith("out_"):
                place = self._layout.design.outputs[name.removeprefix("out_")]
                return self._resized(self._get(place), place.width, 64)
            case ast.Name(id=name):
                return self._add(f"load i64, ptr %v_{name}")
            case ast.Subscript():
                return self._add(f"load i64, ptr {self._element(node)}")
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

    # What the design does.

    def _call(self, name: str) -> None:
        if name == "edge":
            changed = self._add("call i1 @edge(ptr %s, ptr %m)")
            self._assign("changed", self._resized(changed, 1, 64))
        elif name == "observe":
            self._assign("told", "0")
            for records in self._layout.records:
                self._assign_or("told", self._keep(records))
        elif name == "quiet_row":
            self._assign("told", "0")
            self._assign("changed", "0")
            for number in range(self._count_of_parts):
                self._quiet_part(number)
        else:
            self._lines.append(f"call void @{name}(ptr %s, ptr %m)")
            if name == "settle":
                self._compare()

    def _compare(self) -> None:
        """Put into ``moved`` whether a pin that is heeded differs."""
        moved = "false"
        fresh = self._truth(ast.Name("fresh"))
        for records in self._layout.seen.values():
            width = records.source.width
            heeded = self._get(records.heeded)
            different = self._add(
                f"xor i{width} {self._get(records.source)}, {self._get(records.last)}"
            )
            every = self._add(f"select i1 {fresh}, i{width} -1, i{width} {different}")
            found = self._add(f"and i{width} {every}, {heeded}")
            moved = self._add(f"or i1 {moved}, {self._add(f'icmp ne i{width} {found}, 0')}")
        self._assign("moved", self._resized(moved, 1, 64))

    def _quiet_part(self, number: int) -> None:
        """Do a row of one part of the design, if it is awake; let it sleep if nothing changed."""
        label, bit = self._new(), 1 << number
        awake = self._add(f"and i64 {self._value(ast.Name('awake'))}, {bit}")
        wakes = self._add(f"icmp ne i64 {awake}, 0")
        self._lines += [f"br i1 {wakes}, label %{label}_do, label %{label}_on", f"{label}_do:"]
        row = self._value(ast.Name("row"))
        bits = self._add(f"call i64 @part_{number}(ptr %s, ptr %m, ptr %r, i64 {row})")
        for place, name in enumerate(OF_A_PART):
            moved = self._add(f"lshr i64 {bits}, {place}")
            self._assign_or(name, self._add(f"trunc i64 {moved} to i1"))
        moves = self._add(f"icmp ne i64 {self._add(f'and i64 {bits}, 3')}, 0")
        asleep = self._add(f"select i1 {moves}, i64 -1, i64 {~bit}")
        left = self._add(f"and i64 {self._value(ast.Name('awake'))}, {asleep}")
        self._assign("awake", left)
        self._lines += [f"br label %{label}_on", f"{label}_on:"]

    def part(self, number: int, outputs: set[str], how: str) -> str:
        """Return the function of one part of the design: a row, in which nothing is on the bus.

        It returns a bit for each of :data:`OF_A_PART`.
        """
        for name in (*OF_A_PART, "fresh"):
            self._lines += [f"%v_{name} = alloca i64", f"store i64 0, ptr %v_{name}"]
        self._lines += ["%v_row = alloca i64", "store i64 %row, ptr %v_row"]
        self._lines.append(f"call void @settle_part_{number}(ptr %s, ptr %m)")
        for records in self._layout.records:
            if records.source.name in outputs:
                self._assign_or("told", self._keep(records))
        self._assign_or("changed", self._add(f"call i1 @edge_part_{number}(ptr %s, ptr %m)"))
        bits = "0"
        for place, name in enumerate(OF_A_PART):
            value = self._add(f"shl i64 {self._value(ast.Name(name))}, {place}")
            bits = self._add(f"or i64 {bits}, {value}")
        body = "\n".join(f"  {line}" for line in [*self._lines, f"ret i64 {bits}"])
        head = f"define internal i64 @part_{number}({POINTERS}, ptr noalias %r, i64 %row) {how}"
        return f"{head} {{\n{body}\n}}\n"

    def _assign_or(self, name: str, bit: str) -> None:
        """Or one bit to a number."""
        wide = self._resized(bit, 1, 64)
        self._assign(name, self._add(f"or i64 {self._value(ast.Name(name))}, {wide}"))

    def _keep(self, records: Records) -> str:
        """Keep what is seen of a hardware device in this row; return whether it has notes."""
        width, label = records.source.width, self._new()
        word = self._get(records.source)
        told = self._add(f"trunc i{width} {word} to i1") if width > 1 else word
        kept = told
        if records.mask:
            different = self._add(f"xor i{width} {word}, {self._get(records.last)}")
            different = self._add(f"and i{width} {different}, {records.mask}")
            kept = self._add(f"or i1 {kept}, {self._add(f'icmp ne i{width} {different}, 0')}")
            kept = self._add(f"or i1 {kept}, {self._truth(ast.Name('fresh'))}")
        self._lines += [f"br i1 {kept}, label %{label}_keep, label %{label}_on", f"{label}_keep:"]
        self._append(records, self._resized(word, width, 8 * records.last.size))
        heeded = self._add(f"and i1 {told}, {self._get(records.heeded_notes)}")
        self._assign_or("stop", heeded)
        self._lines += [f"br label %{label}_on", f"{label}_on:"]
        self._put_wide(records.last, self._resized(word, width, 8 * records.last.size))
        return told

    def _append(self, records: Records, word: str) -> None:
        """Append a record: the row, and the word."""
        count = self._get(records.counted)
        moved = self._add(f"mul i64 {count}, {records.stride}")
        moved = self._add(f"add i64 {moved}, {records.buffer.offset}")
        pointer = self._add(f"getelementptr i8, ptr %r, i64 {moved}")
        self._lines.append(f"store i64 {self._value(ast.Name('row'))}, ptr {pointer}, align 8")
        behind = self._add(f"getelementptr i8, ptr {pointer}, i64 8")
        self._lines.append(f"store i{8 * records.last.size} {word}, ptr {behind}, align 8")
        more = self._add(f"add i64 {count}, 1")
        self._put(records.counted, more)
        self._assign_or("full", self._add(f"icmp sge i64 {more}, {ROOM}"))
