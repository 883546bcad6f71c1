"""The loop of a design as text for LLVM: the small language, and what the design does in it."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator, Sequence

from busbox.core.core import AHEAD
from busbox.engines import llvm_layout
from busbox.engines.kernel import Parts
from busbox.engines.llvm_function import LlvmFunction
from busbox.engines.llvm_layout import CONSULT, CORE, LoopLayout, Records
from busbox.engines.loop import LOOK, LOOP
from busbox.engines.netlist.llvm_pieces import APART
from busbox.engines.netlist.llvm_text import POINTERS, LlvmText

#: Parts up to which all are put into the loop; more would take long to compile.
INLINE = 6
#: What a cycle of a part says.
OF_A_PART = ("changed", "told", "stop", "full")
#: Records of devices up to which the loop itself keeps them; of more, this many are a function.
RECORDS = 40
#: What such a function says.
OF_RECORDS = ("told", "stop", "full")


class Writer:
    """Writes the text of a design: ``loop``, ``look`` and ``peek``."""

    def __init__(self, parts: Parts, layout: LoopLayout) -> None:
        self._parts, self._layout = parts, layout
        self._native = LlvmText(parts.program, layout.design, layout.size)
        self._quiet_parts = parts.quiet()
        self._modules: list[str] = []
        self._room = 0

    def text(self) -> str:
        """Return the text, of one module or several."""
        native, parts = self._native, self._parts
        functions = [
            native.head(),
            native.settle("settle", shown=parts.outputs),
            native.settle("settle_reply", ["reply"], parts.outputs),
            native.settle("settle_peek", shown=parts.peeked),
            native.edge("edge"),
            *self._quiet(),
            *self._records(),
            self._function("loop", LOOP),
            self._function("look", LOOK),
            self._function("peek", "settle_peek()"),
        ]
        room = max(self._room, native.room)
        functions.append(f"define i64 @room(ptr %s) {{\n  ret i64 {room}\n}}\n")
        return APART.join(["\n".join(functions), *native.pieces, *self._modules])

    def _quiet(self) -> Iterator[str]:
        """Yield what the module has of the parts of a design while nothing is on the bus.

        Where they are many, each is a module of its own.
        """
        inline = len(self._quiet_parts) <= INLINE
        for number, part in enumerate(self._quiet_parts):
            native = LlvmText(part, self._layout.design, self._layout.size)
            names = {one.name for one in part.outputs}
            functions = [native.settle(f"settle_part_{number}"), native.edge(f"edge_part_{number}")]
            functions.append(_Function(self._layout, "", "", 0).part(number, names, inline))
            self._modules += native.pieces
            self._room = max(self._room, native.room)
            if inline:
                yield "\n".join(functions)
            else:
                self._modules.append("\n".join([native.head(), *functions]))
                yield f"declare i64 @part_{number}(ptr, ptr, ptr, i64)\n"

    def _records(self) -> Iterator[str]:
        """Yield what the module has of the records of devices: where they are many, modules apart."""
        rows = _rows(self._layout)
        for number, records in enumerate(rows if len(rows) > 1 else ()):
            self._modules.append(_Function(self._layout, "", "", 0).observed(number, records))
            self._modules.append(_Function(self._layout, "", "", 0).compared(number, records))
            yield f"declare i64 @observe_{number}(ptr, ptr, ptr, i64, i64)"
            yield f"declare i64 @compare_{number}(ptr, ptr, i64)\n"

    def _function(self, name: str, text: str) -> str:
        return _Function(self._layout, name, text, len(self._quiet_parts)).text()


def _rows(layout: LoopLayout) -> list[list[Records]]:
    """Return the records of all devices in groups, in their order."""
    records = layout.records
    return [records[at : at + RECORDS] for at in range(0, len(records), RECORDS)]


class _Function(LlvmFunction):
    """A function in which the design is run, and what is seen of its devices is kept."""

    # What the design does.

    def _call(self, name: str) -> None:
        if name == "edge":
            changed = self._add("call i1 @edge(ptr %s, ptr %m)")
            self._assign("changed", self._resized(changed, 1, 64))
        elif name == "consult":
            self._consult()
        elif name == "observe":
            self._observe()
        elif name == "quiet_cycle":
            self._assign("told", "0")
            self._assign("changed", "0")
            for number in range(self._count_of_parts):
                self._quiet_part(number)
        else:
            self._lines.append(f"call void @{name}(ptr %s, ptr %m)")
            if name == "settle":
                self._compare()

    def _consult(self) -> None:
        """Ask the core; it is machine code of its own, reached through pointers."""
        core, entry = self._outside(CORE), self._outside(CONSULT)
        given = [self._value(ast.Name(name)) for name in ("cycle", "result", "failed")]
        given.append(self._add(f"add i64 {given[0]}, {AHEAD}"))
        words = ", ".join(f"i64 {one}" for one in given)
        self._assign("left", self._add(f"call i64 {entry}(ptr {core}, {words})"))

    def _observe(self) -> None:
        """Keep what is seen of the devices."""
        self._assign("told", "0")
        rows = _rows(self._layout)
        if len(rows) == 1:
            for records in rows[0]:
                self._assign_or("told", self._keep(records))
            return
        given = [f"i64 {self._value(ast.Name(name))}" for name in ("cycle", "fresh")]
        for number in range(len(rows)):
            words = ", ".join(["ptr %s", "ptr %m", "ptr %r", *given])
            self._unpack(self._add(f"call i64 @observe_{number}({words})"), OF_RECORDS)

    def observed(self, number: int, rows: Sequence[Records]) -> str:
        """Return the function that keeps what is seen of some devices.

        It returns a bit for each of :data:`OF_RECORDS`.
        """
        self._begin(OF_RECORDS, given=("cycle", "fresh"))
        for records in rows:
            self._assign_or("told", self._keep(records))
        words = f"{POINTERS}, ptr noalias %r, i64 %cycle, i64 %fresh"
        return self._end(f"define i64 @observe_{number}({words})", OF_RECORDS)

    def _compare(self) -> None:
        """Put into ``moved`` whether a pin that is watched differs."""
        rows = _rows(self._layout)
        if len(rows) <= 1:
            moved = self._moved(self._layout.seen.values())
            self._assign("moved", self._resized(moved, 1, 64))
            return
        self._assign("moved", "0")
        fresh = self._value(ast.Name("fresh"))
        for number in range(len(rows)):
            bits = self._add(f"call i64 @compare_{number}(ptr %s, ptr %m, i64 {fresh})")
            self._unpack(bits, ("moved",))

    def compared(self, number: int, rows: Sequence[Records]) -> str:
        """Return the function that says whether a watched pin of some devices differs."""
        self._begin(("moved",), given=("fresh",))
        seen = self._layout.seen.values()
        self._assign_or("moved", self._moved(one for one in rows if one in seen))
        return self._end(f"define i64 @compare_{number}({POINTERS}, i64 %fresh)", ("moved",))

    def _moved(self, rows: Iterable[Records]) -> str:
        """Return whether a pin that is watched differs."""
        moved = "false"
        fresh = self._truth(ast.Name("fresh"))
        for records in rows:
            width = records.source.width
            watched = self._get(records.watched)
            different = self._add(
                f"xor i{width} {self._get(records.source)}, {self._get(records.last)}"
            )
            every = self._add(f"select i1 {fresh}, i{width} -1, i{width} {different}")
            found = self._add(f"and i{width} {every}, {watched}")
            moved = self._add(f"or i1 {moved}, {self._add(f'icmp ne i{width} {found}, 0')}")
        return moved

    # Functions of their own, which return bits.

    def _begin(self, names: Iterable[str], given: Sequence[str]) -> None:
        """Begin a function with these numbers at 0, and those that it is given."""
        for name in names:
            self._lines += [f"%v_{name} = alloca i64", f"store i64 0, ptr %v_{name}"]
        for name in given:
            self._lines += [f"%v_{name} = alloca i64", f"store i64 %{name}, ptr %v_{name}"]

    def _end(self, head: str, names: Iterable[str]) -> str:
        """Return the function, which returns a bit for each name."""
        bits = "0"
        for place, name in enumerate(names):
            value = self._add(f"shl i64 {self._value(ast.Name(name))}, {place}")
            bits = self._add(f"or i64 {bits}, {value}")
        body = "\n".join(f"  {line}" for line in [*self._lines, f"ret i64 {bits}"])
        return f"{head} {{\n{body}\n}}\n"

    def _unpack(self, bits: str, names: Iterable[str]) -> None:
        """Or the bits that such a function returned to the numbers."""
        for place, name in enumerate(names):
            moved = self._add(f"lshr i64 {bits}, {place}")
            self._assign_or(name, self._add(f"trunc i64 {moved} to i1"))

    def _quiet_part(self, number: int) -> None:
        """Do a cycle of one part of the design, if it is awake; let it sleep if nothing changed."""
        label, bit = self._new(), 1 << number
        awake = self._add(f"and i64 {self._value(ast.Name('awake'))}, {bit}")
        wakes = self._add(f"icmp ne i64 {awake}, 0")
        self._lines += [f"br i1 {wakes}, label %{label}_do, label %{label}_on", f"{label}_do:"]
        cycle = self._value(ast.Name("cycle"))
        bits = self._add(f"call i64 @part_{number}(ptr %s, ptr %m, ptr %r, i64 {cycle})")
        self._unpack(bits, OF_A_PART)
        moves = self._add(f"icmp ne i64 {self._add(f'and i64 {bits}, 3')}, 0")
        asleep = self._add(f"select i1 {moves}, i64 -1, i64 {~bit}")
        left = self._add(f"and i64 {self._value(ast.Name('awake'))}, {asleep}")
        self._assign("awake", left)
        self._lines += [f"br label %{label}_on", f"{label}_on:"]

    def part(self, number: int, outputs: set[str], inline: bool) -> str:
        """Return the function of one part of the design: a cycle, in which nothing is on the bus.

        It returns a bit for each of :data:`OF_A_PART`.
        """
        self._begin((*OF_A_PART, "fresh"), given=("cycle",))
        self._lines.append(f"call void @settle_part_{number}(ptr %s, ptr %m)")
        for records in self._layout.records:
            if records.source.name in outputs:
                self._assign_or("told", self._keep(records))
        self._assign_or("changed", self._add(f"call i1 @edge_part_{number}(ptr %s, ptr %m)"))
        kind, how = ("internal ", "alwaysinline") if inline else ("", "noinline")
        head = f"i64 @part_{number}({POINTERS}, ptr noalias %r, i64 %cycle)"
        return self._end(f"define {kind}{head} {how}", OF_A_PART)

    def _keep(self, records: Records) -> str:
        """Keep what is seen of a hardware device in this cycle; return whether it has notes."""
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
        watched = self._add(f"and i1 {told}, {self._get(records.watched_notes)}")
        self._assign_or("stop", watched)
        self._lines += [f"br label %{label}_on", f"{label}_on:"]
        self._put_wide(records.last, self._resized(word, width, 8 * records.last.size))
        return told

    def _append(self, records: Records, word: str) -> None:
        """Append a record: the cycle, and the word."""
        count = self._get(records.counted)
        moved = self._add(f"mul i64 {count}, {records.stride}")
        moved = self._add(f"add i64 {moved}, {records.buffer.offset}")
        pointer = self._add(f"getelementptr i8, ptr %r, i64 {moved}")
        self._lines.append(f"store i64 {self._value(ast.Name('cycle'))}, ptr {pointer}, align 8")
        behind = self._add(f"getelementptr i8, ptr {pointer}, i64 8")
        self._lines.append(f"store i{8 * records.last.size} {word}, ptr {behind}, align 8")
        more = self._add(f"add i64 {count}, 1")
        self._put(records.counted, more)
        self._assign_or("full", self._add(f"icmp sge i64 {more}, {llvm_layout.ROOM}"))
