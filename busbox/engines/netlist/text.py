"""The strict reader of the text that ``amaranth.back.rtlil.convert`` writes.

It knows the lines which that function can print and no others. What it does not know is an error with
the name of the module and the line: nothing is skipped. Attributes other than ``init``, ``top`` and
``generator`` are hints for synthesis, which Amaranth's simulator does not see either.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from busbox.engines.netlist.errors import NetlistError

#: Directions of a wire that is a port.
DIRECTIONS = ("input", "output", "inout")
_BITS = re.compile(r"(\d+)'([01x]*)")
_RANGE = re.compile(r"\[(\d+)(?::(\d+))?\]")
_STRING = re.compile(r'"((?:[^"\\]|\\.)*)"')
_ESCAPES = {"n": "\n", "t": "\t", "r": "\r"}


@dataclass(frozen=True, slots=True)
class Bits:
    """A constant: ``width`` bits of ``value``; ``known`` is false if any of them is x."""

    value: int
    width: int
    known: bool = True


@dataclass(frozen=True, slots=True)
class Piece:
    """``width`` bits of a wire, from bit ``low`` on."""

    wire: str
    low: int
    width: int


#: What is connected to a port, the lowest bits first.
Sig = tuple[Bits | Piece, ...]
#: Value of a parameter or an attribute.
Setting = int | str | float | Bits


@dataclass(slots=True)
class Wire:
    """A wire; ``port`` is its direction if it is a port of the module, else ""."""

    name: str
    width: int
    port: str
    init: Bits | None
    line: int


@dataclass(slots=True)
class MemoryText:
    """A memory: ``depth`` words of ``width`` bits."""

    name: str
    width: int
    depth: int
    line: int


@dataclass(slots=True)
class Cell:
    """A cell of a kind, with its parameters and what its ports are connected to."""

    kind: str
    name: str
    line: int
    parameters: dict[str, Setting] = field(default_factory=dict)
    ports: dict[str, Sig] = field(default_factory=dict)


@dataclass(slots=True)
class Assign:
    """``target`` takes ``value``."""

    target: Sig
    value: Sig
    line: int


@dataclass(slots=True)
class Case:
    """A case of a switch: pairs (mask, value), any of which selects it; none at all: always."""

    patterns: tuple[tuple[int, int], ...]
    body: list[Assign | Switch] = field(default_factory=list)


@dataclass(slots=True)
class Switch:
    """The first case that matches ``test`` counts."""

    test: Sig
    line: int
    cases: list[Case] = field(default_factory=list)


@dataclass(slots=True)
class Process:
    """Assignments in order, of which the last one to a bit counts."""

    name: str
    line: int
    body: list[Assign | Switch] = field(default_factory=list)


@dataclass(slots=True)
class ModuleText:
    """A module; its name is the hierarchical name of its one place in the design."""

    name: str
    line: int
    top: bool = False
    wires: dict[str, Wire] = field(default_factory=dict)
    memories: dict[str, MemoryText] = field(default_factory=dict)
    cells: list[Cell] = field(default_factory=list)
    processes: list[Process] = field(default_factory=list)
    connects: list[tuple[Sig, Sig, int]] = field(default_factory=list)


def read(text: str) -> list[ModuleText]:
    """Return the modules of a netlist text, in order.

    Raises
    ------
    NetlistError : a line, width or name that ``convert`` does not print
    """
    return _Reader(text).modules()


def width_of(sig: Sig) -> int:
    """Return the number of bits of what is connected."""
    return sum(part.width for part in sig)


class _Reader:
    def __init__(self, text: str) -> None:
        self._lines = [line.strip() for line in text.split("\n")]
        self._next = 0
        self._where = "netlist"
        self._attributes: dict[str, Setting] = {}
        self._module = ModuleText("", 0)

    def modules(self) -> list[ModuleText]:
        found: list[ModuleText] = []
        while (line := self._line()) is not None:
            word, _, rest = line.partition(" ")
            if word == "attribute":
                self._attribute(rest)
            elif word == "module":
                found.append(self._read_module(rest))
            else:
                raise self._unknown(line)
        return found

    def _line(self) -> str | None:
        """Return the next line that is not empty, or None at the end."""
        while self._next < len(self._lines):
            self._next += 1
            if self._lines[self._next - 1]:
                return self._lines[self._next - 1]
        return None

    def _inner(self) -> str:
        line = self._line()
        if line is None:
            raise self._error("the text must go on until 'end', not stop")
        return line

    def _error(self, text: str) -> NetlistError:
        return NetlistError(text, self._where, self._next)

    def _unknown(self, line: str) -> NetlistError:
        return self._error(f"this line is not known: {line!r}")

    def _read_module(self, name: str) -> ModuleText:
        self._where = name.removeprefix("\\")
        self._module = module = ModuleText(self._where, self._next)
        for key, value in self._taken().items():
            if key == "top":
                module.top = value == 1
            elif key == "generator" and value != "Amaranth":
                raise self._error(f"the generator must be 'Amaranth', not {value!r}")
        while (line := self._inner()) != "end":
            self._statement(*line.partition(" ")[::2], line)
        self._taken()
        return module

    def _statement(self, word: str, rest: str, line: str) -> None:
        module = self._module
        if word == "attribute":
            self._attribute(rest)
        elif word == "wire":
            wire = self._wire(rest, line)
            self._new(wire.name, wire.name in module.wires)
            module.wires[wire.name] = wire
        elif word == "memory":
            memory = self._memory(rest, line)
            self._new(memory.name, memory.name in module.memories)
            module.memories[memory.name] = memory
        elif word == "cell":
            module.cells.append(self._cell(rest, line))
        elif word == "process":
            self._taken()
            process = Process(rest, self._next)
            process.body = self._body()
            self._end(self._inner())
            module.processes.append(process)
        elif word == "connect":
            left, right = self._sigs(rest, 2)
            self._same_width(left, right)
            module.connects.append((left, right, self._next))
        else:
            raise self._unknown(line)

    def _new(self, name: str, taken: bool) -> None:
        if taken:
            raise self._error(f"the name {name} must stand for one thing, not two")

    def _end(self, line: str) -> None:
        if line != "end":
            raise self._unknown(line)

    # Attributes, wires, memories, cells.

    def _attribute(self, rest: str) -> None:
        name, _, value = rest.partition(" ")
        self._attributes[name.removeprefix("\\")] = self._setting(value)

    def _taken(self) -> dict[str, Setting]:
        taken, self._attributes = self._attributes, {}
        return taken

    def _setting(self, text: str) -> Setting:
        if text.isdecimal():
            return int(text)
        if string := _STRING.fullmatch(text):
            return re.sub(r"\\(.)", lambda hit: _ESCAPES.get(hit[1], hit[1]), string[1])
        if bits := _BITS.fullmatch(text):
            return self._bits(bits)
        raise self._error(f"a value must be a number, bits or a string, not {text!r}")

    def _bits(self, hit: re.Match[str]) -> Bits:
        width, digits = int(hit[1]), hit[2]
        if len(digits) != width and hit[0] != "0'0":  # how Amaranth prints a number of no bits
            raise self._error(f"{hit[0]!r} must have {width} digits, not {len(digits)}")
        known = "x" not in digits
        return Bits(int(digits.replace("x", "0") or "0", 2), width, known)

    def _wire(self, rest: str, line: str) -> Wire:
        hit = re.fullmatch(
            r"width (\d+) (?:(input|output|inout) \d+ )?(?: ?signed )? ?([\\$]\S+)", rest
        )
        if hit is None:
            raise self._unknown(line)
        init = self._taken().get("init")
        width = int(hit[1])
        if init is not None and not (isinstance(init, Bits) and init.width == width and init.known):
            raise self._error(f"the attribute init of {hit[3]} must be {width} bits, not {init!r}")
        return Wire(hit[3], width, hit[2] or "", init, self._next)

    def _memory(self, rest: str, line: str) -> MemoryText:
        self._taken()
        hit = re.fullmatch(r"width (\d+) size (\d+) ([\\$]\S+)", rest)
        if hit is None:
            raise self._unknown(line)
        return MemoryText(hit[3], int(hit[1]), int(hit[2]), self._next)

    def _cell(self, rest: str, line: str) -> Cell:
        self._taken()
        kind, _, name = rest.partition(" ")
        if not name or kind[0] not in "\\$":
            raise self._unknown(line)
        cell = Cell(kind, name, self._next)
        while (line := self._inner()) != "end":
            word, _, rest = line.partition(" ")
            if word == "parameter":
                self._parameter(cell, rest)
            elif word == "connect":
                port, _, sig = rest.removeprefix("\\").partition(" ")
                self._new(port, port in cell.ports)
                (cell.ports[port],) = self._sigs(sig, 1)
            else:
                raise self._unknown(line)
        return cell

    def _parameter(self, cell: Cell, rest: str) -> None:
        hit = re.fullmatch(r"(signed |real )?\\(\S+) (.*)", rest)
        if hit is None:
            raise self._error(f"this parameter is not known: {rest!r}")
        self._new(hit[2], hit[2] in cell.parameters)
        value = self._setting(hit[3])
        cell.parameters[hit[2]] = float(str(value)) if hit[1] == "real " else value

    # Processes.

    def _body(self) -> list[Assign | Switch]:
        """Read assignments and switches up to a line that is neither, and step back before it."""
        body: list[Assign | Switch] = []
        while True:
            line = self._inner()
            word, _, rest = line.partition(" ")
            if word == "assign":
                left, right = self._sigs(rest, 2)
                self._same_width(left, right)
                body.append(Assign(left, right, self._next))
            elif word == "switch":
                body.append(self._switch(rest))
            else:
                self._next -= 1
                return body

    def _switch(self, rest: str) -> Switch:
        (test,) = self._sigs(rest, 1)
        switch = Switch(test, self._next)
        while (line := self._inner()) != "end":
            word, _, patterns = line.partition(" ")
            if word != "case":
                raise self._unknown(line)
            case = Case(self._patterns(patterns, width_of(test)))
            case.body = self._body()
            switch.cases.append(case)
        return switch

    def _patterns(self, text: str, width: int) -> tuple[tuple[int, int], ...]:
        found = []
        for pattern in text.split(", ") if text else ():
            hit = re.fullmatch(r"(\d+)'([01-]*)", pattern)
            if hit is None or not int(hit[1]) == len(hit[2]) == width:
                raise self._error(f"a pattern must be {width} of 0, 1 and -, not {pattern!r}")
            mask = int(re.sub("[01]", "1", hit[2]).replace("-", "0") or "0", 2)
            found.append((mask, int(hit[2].replace("-", "0") or "0", 2)))
        return tuple(found)

    # What is connected.

    def _same_width(self, left: Sig, right: Sig) -> None:
        if width_of(left) != width_of(right):
            raise self._error(f"{width_of(left)} bits must take as many, not {width_of(right)}")

    def _sigs(self, text: str, count: int) -> list[Sig]:
        """Return what ``count`` groups of words say is connected."""
        words = text.replace("{}", "{ }").split()
        words.reverse()
        found = [self._sig(words) for _ in range(count)]
        if words:
            raise self._error(f"this is not known after what is connected: {words[-1]!r}")
        return found

    def _sig(self, words: list[str]) -> Sig:
        if not words:
            raise self._error("what is connected must be named, not left out")
        if words[-1] != "{":
            return (self._part(words),)
        words.pop()
        parts: list[Bits | Piece] = []
        while words and words[-1] != "}":
            parts.append(self._part(words))
        if not words:
            raise self._error("'{' must be closed")
        words.pop()
        return tuple(reversed(parts))

    def _part(self, words: list[str]) -> Bits | Piece:
        word = words.pop()
        if bits := _BITS.fullmatch(word):
            value = self._bits(bits)
            if not value.known:
                raise self._error(f"bits must be 0 or 1, not {word!r}")
            return value
        wire = self._module.wires.get(word)
        if wire is None:
            raise self._error(f"there is no wire {word!r}")
        if not (words and (hit := _RANGE.fullmatch(words[-1]))):
            return Piece(word, 0, wire.width)
        words.pop()
        low, high = int(hit[2] or hit[1]), int(hit[1])
        if not low <= high < wire.width:
            raise self._error(f"bits {hit[0]} must lie in {word}, which has {wire.width}")
        return Piece(word, low, high - low + 1)
