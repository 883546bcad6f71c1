"""The loop as one Python function, with the lines of the design inside: any width, no dependency."""

from __future__ import annotations

import ast
from array import array
from collections.abc import Callable, Generator, Iterable, Mapping
from typing import TYPE_CHECKING, Any

from busbox.cpu.commands import KEPT
from busbox.engines.kernel import Parts, guard, pin, seen, watch_address, watch_data
from busbox.engines.loop import CACHED, CALLED, INITIAL, LOGGED, LOOK, LOOP, REASONS, STATE
from busbox.engines.netlist_engine import NetlistEngine
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.core.core import Core
    from busbox.core.setup import CoreSetup
    from busbox.engines.netlist.python_source import PythonSource

#: Accesses, and records of one device, that are kept before the loop returns.
ROOM = 1 << 14

GO, SEE, PEEK = range(3)

_FRAME = """
def run(state, box, log, cached, kept, memories, inputs, outputs, seen, watched, cycles, words):
    SETUP
    LOAD
    commands, core_numbers, ask_core = box
    why = 0
    while True:
        if why >= 0:
            STORE
            asked_for = yield why
            why = -1
            commands, core_numbers, ask_core = box
            TAKE_INPUTS
            LOAD
            if asked_for == 1:
                LOOK
                GIVE_OUTPUTS
                why = 0
                continue
            if asked_for == 2:
                PEEK
                why = 0
                continue
        LOOP
"""


class PythonKernel:
    """Runs the loop as Python (see :class:`busbox.engines.kernel.Kernel`)."""

    def __init__(self, parts: Parts) -> None:
        if "python" not in parts.made:
            parts.made["python"] = _made(parts)
        outline = parts.outline
        self._slots = list(parts.views)
        self.state = [INITIAL.get(name, 0) for name in STATE]
        self.state[STATE.index("log_room")] = ROOM
        self.cached = [0] * (CACHED * parts.slots)
        self._log = array("q", bytes(8 * LOGGED * ROOM))
        self._box: list[Any] = [array("q"), None, None]
        self._inputs = {one.name: one.init for one in outline.inputs}
        count = len(self._slots)
        self._given: list[int] = []
        self._shown: list[int] = [0] * (2 * count)
        self._seen: list[int] = [0] * count
        self._watched: list[int] = [0] * (2 * count)
        self._cycles: list[list[int]] = [[] for _ in range(2 * count)]
        self._words: list[list[int]] = [[] for _ in range(2 * count)]
        self._changing = [one.name for one in outline.inputs if one.name not in _OF_THE_LOOP]
        memories = [list(one.init) for one in outline.memories]
        self._run: Generator[int, int, None] = parts.made["python"](
            self.state, self._box, self._log, self.cached, [0] * KEPT, memories, self._given,
            self._shown, self._seen, self._watched, self._cycles, self._words,
        )  # fmt: skip
        self._give()

    def tie(self, levels: Mapping[str, int]) -> None:
        """Tie inputs of the design to levels for the whole run, before its first cycle."""
        self._inputs |= {name: level for name, level in levels.items() if name in self._inputs}
        self._give()
        next(self._run)

    def _give(self) -> None:
        self._given[:] = [self._inputs[name] for name in self._changing]

    def go(self) -> int:
        """Run the loop until it returns; return why."""
        return self._run.send(GO)

    def call(self) -> list[int]:
        """Return the numbers of a call."""
        return self.state[: len(CALLED)]

    def play(self, commands: array[int]) -> None:
        """Take commands from here."""
        self._box[0] = commands

    def attach(self, setup: CoreSetup) -> Core:
        """Return a core, which gives the commands from now on."""
        from busbox.core.core import Core

        core = Core(setup)
        self._box[1:] = core.executor.state, core.consult
        return core

    def logged(self) -> array[int]:
        """Return what the loop has logged, and forget it."""
        place = STATE.index("logged")
        count, self.state[place] = self.state[place], 0
        self.state[STATE.index("full")] = 0
        return self._log[: count * LOGGED]

    @property
    def noted(self) -> bool:
        """Whether something was seen of a hardware device, and is not forgotten."""
        return any(self._cycles)

    def samples(self, slot: int) -> tuple[list[int], list[int]]:
        """Return cycles and words that were seen of a hardware device, and forget them."""
        return self._records(2 * self._slots.index(slot))

    def guarded(self, slot: int) -> tuple[list[int], list[int]]:
        """Return cycles and words of a hardware device's guard, and forget them."""
        return self._records(2 * self._slots.index(slot) + 1)

    def _records(self, place: int) -> tuple[list[int], list[int]]:
        cycles, words = self._cycles[place], self._words[place]
        if not cycles:
            return cycles, words
        found = cycles[:], words[:]
        cycles.clear()
        words.clear()
        self.state[STATE.index("full")] = 0
        return found

    def see(self, slot: int) -> int:
        """Settle; return what is seen of a hardware device, and compare with that from now on."""
        self._run.send(SEE)
        place = self._slots.index(slot)
        self._seen[place] = self._shown[place]
        return self._shown[place]

    def watch(self, slot: int, mask: int, notes: bool) -> None:
        """Stop for these bits of what is seen, and for notes."""
        place = 2 * self._slots.index(slot)
        self._watched[place] |= mask
        self._watched[place + 1] |= int(notes)

    def drive(self, slot: int, member: str, word: int) -> None:
        """Give the pins of a member their levels."""
        self._inputs[pin(slot, member)] = word
        self._give()

    def peek(self, slot: int, offset: int) -> int:
        """Return a register of a hardware device."""
        if watch_address(slot) in self._inputs:
            self._inputs[watch_address(slot)] = offset >> 2
            self._give()
        self._run.send(PEEK)
        return self._shown[len(self._slots) + self._slots.index(slot)]


class PythonEngine(NetlistEngine):
    """Runs a design as one Python function."""

    name = "python"

    @staticmethod
    def make_kernel(parts: Parts, system: System) -> PythonKernel:
        """Return the kernel, in its state before cycle 0."""
        return PythonKernel(parts)


def _made(parts: Parts) -> Callable[..., Generator[int, int, None]]:
    """Return the loop of a design as a function."""
    scope: dict[str, Any] = {}
    text = parts.kept([b"python"], lambda: _Writer(parts).text().encode())
    exec(compile(text, "<loop>", "exec"), scope)
    found: Callable[..., Generator[int, int, None]] = scope["run"]
    return found


#: Inputs that the loop itself drives.
_OF_THE_LOOP = ("rst", "request", "data", "reply")


class _Writer(ast.NodeTransformer):
    """Writes the function of a design."""

    def __init__(self, parts: Parts) -> None:
        from busbox.engines.netlist.python_source import PythonSource

        self._source_of = PythonSource
        self._slots = list(parts.views)
        self._masks = [view.pin_mask for view in parts.views.values()]
        program = parts.program
        self._source = PythonSource(program, parts.outputs)
        self._parts = parts.quiet()
        self._peeked = PythonSource(program, parts.peeked)
        self._changing = [one.name for one in program.inputs if one.name not in _OF_THE_LOOP]
        self._state = ", ".join(STATE)

    def text(self) -> str:
        """Return the function's text."""
        source = self._source
        memories = ", ".join(name for name, _ in source.memories)
        inputs = "".join(f"{source.inputs[name]}, " for name in self._changing)
        setup = [*source.setup(), *([f"({memories},) = memories"] if memories else [])]
        peeked = [f"outputs[{len(self._slots) + place}] = {self._peeked.outputs[watch_data(slot)]}"
                   for place, slot in enumerate(self._slots)]  # fmt: skip
        shown = [f"outputs[{place}] = {source.outputs[seen(slot)]}"
                 for place, slot in enumerate(self._slots)]  # fmt: skip
        parts = {
            "SETUP": setup,
            "STORE": [f"state[:] = ({self._state})"],
            "LOAD": [f"({self._state}) = state"],
            "TAKE_INPUTS": [f"({inputs}) = inputs"] if inputs else [],
            "LOOK": self._translated(LOOK),
            "GIVE_OUTPUTS": shown,
            "PEEK": [*self._peeked.settle(), *peeked],
            "LOOP": self._translated(LOOP),
        }
        lines = []
        for line in _FRAME.strip().splitlines():
            word = line.strip()
            indent = line[: len(line) - len(word)]
            lines += [indent + one for one in parts[word] or ["pass"]] if word in parts else [line]
        return "\n".join(lines) + "\n"

    def _translated(self, text: str) -> list[str]:
        tree = self.visit(ast.parse(text))
        return ast.unparse(ast.fix_missing_locations(tree)).splitlines()

    def visit_Return(self, node: ast.Return) -> Any:
        """Leave the loop: store why, and go to the top."""
        self.generic_visit(node)
        assert node.value is not None
        return ast.parse(f"why = {ast.unparse(node.value)}\ncontinue").body

    def visit_Expr(self, node: ast.Expr) -> Any:
        """Put the design's lines in the place of a call."""
        name = ast.unparse(node.value).removesuffix("()")
        return ast.parse("\n".join(getattr(self, f"_{name}")())).body

    def visit_Name(self, node: ast.Name) -> Any:
        """Put the design's names in the place of inputs, outputs and reasons."""
        kind, _, name = node.id.partition("_")
        if kind == "in":
            return ast.Name(self._source.inputs[name], node.ctx)
        if kind == "out":
            return ast.parse(self._source.outputs[name], mode="eval").body
        if node.id in REASONS:
            return ast.Constant(REASONS[node.id])
        return node

    def _settle(self) -> list[str]:
        lines = [*self._source.settle(), "moved = 0"]
        for place, slot in enumerate(self._slots):
            word = self._source.outputs[seen(slot)]
            watched = f"watched[{2 * place}]"
            lines += [
                f"if {watched} and (fresh or ({word} ^ seen[{place}]) & {watched}):",
                "    moved = 1",
            ]
        return lines

    def _settle_reply(self) -> list[str]:
        return self._source.settle({"reply"}) if "reply" in self._source.inputs else []

    def _edge(self) -> list[str]:
        return [*self._source.edge(), f"changed = {self._source.changed}"]

    def _quiet_cycle(self) -> list[str]:
        lines = ["changed = told = 0"]
        for number, part in enumerate(self._parts):
            source = self._source_of(part)
            names = {one.name for one in part.outputs}
            slots = [slot for slot in self._slots if seen(slot) in names]
            block = [
                "noted = 0",
                *source.settle(),
                *self._kept_of(source, slots, "noted"),
                *source.edge(),
                f"if {source.changed}:",
                "    changed = 1",
                "elif noted == 0:",
                f"    awake &= {~(1 << number)}",
                "told |= noted",
            ]
            lines += [f"if awake & {1 << number}:", *(f"    {line}" for line in block)]
        return lines

    def _consult(self) -> list[str]:
        return ["left = ask_core(cycle, result, failed)"]

    def _observe(self) -> list[str]:
        return ["told = 0", *self._kept_of(self._source, self._slots, "told")]

    def _kept_of(self, source: PythonSource, slots: Iterable[int], told: str) -> list[str]:
        """Return the lines that keep what is seen of devices."""
        lines = []
        for slot in slots:
            place = self._slots.index(slot)
            word, broken = source.outputs[seen(slot)], source.outputs[guard(slot)]
            mask = self._masks[place]
            lines += [
                f"if fresh or {word} & 1 or ({word} ^ seen[{place}]) & {mask}:",
                *_kept(2 * place, word),
                f"    if {word} & 1:",
                f"        {told} = 1",
                f"        if watched[{2 * place + 1}]:",
                "            stop = 1",
                f"seen[{place}] = {word}",
                f"if {broken} & 1:",
                f"    {told} = 1",
                *_kept(2 * place + 1, broken),
            ]
        return lines


def _kept(place: int, word: str) -> list[str]:
    return [
        f"    cycles[{place}].append(cycle)",
        f"    words[{place}].append({word})",
        f"    if len(cycles[{place}]) >= {ROOM}:",
        "        full = 1",
    ]
