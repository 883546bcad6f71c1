"""Several executors of one core, asked the same questions: they are in the same state after each."""

import random
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from busbox.core.core import AHEAD, Core
from busbox.core.image import Memory
from busbox.core.instructions import CLASSES
from busbox.core.machine import ACCESS, CHANGING, STOPPED
from busbox.core.setup import CoreSetup
from tests.core.programs import DrawnBus, Program, drawn_clocks

LINES = (3, 7, 11, *range(16, 32))


def drawn_setup(program: Program, seed: int, lines: bool) -> CoreSetup:
    """A core for a drawn program; one of two has a memory whose size is no power of two."""
    drawn = random.Random(seed)
    memories = []
    for base, content, clocks, writable in program.memories(drawn.choice([(0, 1, 2), (1, 1, 1)])):
        cut = 0x300 if len(content) == 0x400 and seed % 2 else len(content)
        for part in (content[:cut], content[cut:]):
            if part:
                memories.append(Memory(base, len(part), bytes(part), 0, clocks, writable))
            base += len(part)
    given = drawn_clocks(seed)
    clocks = {name: given.get(name, given["base"]) for name in CLASSES}
    return CoreSetup(
        program.isa, tuple(memories), program.base, clocks, seed % 3 % 2, seed % 4 > 1,
        seed % 5 > 1, "trap", {f"pin {bit}": bit for bit in LINES} if lines else {},
    )  # fmt: skip


@dataclass
class Lockstep:
    """Cores that are asked the same, the first one being right; how often each thing was compared."""

    setup: CoreSetup
    executors: Sequence[type[Any]]
    bus: DrawnBus
    drawn: random.Random
    spans: Sequence[int] = (1, 2, 3, 7, 30, 300, 3000, *[AHEAD] * 9)
    lines: int = 0
    cycle: int = 1
    result: tuple[int, int] = (0, 0)
    cores: list[Core] = field(default_factory=list)
    seen: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.cores = [Core(self.setup, executor) for executor in self.executors]

    def compare(self, what: str) -> None:
        """All cores are in one state."""
        self.seen[what] = self.seen.get(what, 0) + 1
        first = self.cores[0]
        for core in self.cores[1:]:
            for name in CHANGING:
                assert (core.get(name) - first.get(name)) % 2**64 == 0, (
                    what,
                    name,
                    first.get("pc"),
                )
            assert core.registers == first.registers, (what, first.get("pc"))
            assert bytes(core.executor.m8) == bytes(first.executor.m8), (what, first.get("pc"))
            noted = 2 * first.get("noted")
            assert list(core.executor.journal[:noted]) == list(first.executor.journal[:noted])

    def ask(self) -> int:
        """Ask for the next access, up to a drawn cycle; return why the cores were left."""
        until = self.cycle + self.drawn.choice(self.spans)
        for core in self.cores:
            core.set("now", self.cycle)
            core.set("result", self.result[0])
            core.set("failed", self.result[1])
            core.save(answered=1)
            core.run(until)
        self.compare("asked")
        return self.cores[0].kind

    def line(self, cycle: int, lines: int, up: bool) -> bool:
        """Change the interrupt lines; return whether the cores are to be asked again."""
        self.lines = lines
        before = self.cores[0].cycle
        withdrawn = [core.line(cycle, lines, up) for core in self.cores]
        assert len(set(withdrawn)) == 1
        self.compare("rewound" if before > cycle and not up else "line")
        return withdrawn[0]

    def drawn_lines(self) -> int:
        """Mostly no line is up."""
        return sum(1 << bit for bit in self.drawn.choices(LINES, k=self.drawn.choice([0, 0, 1, 2])))

    def play(self, end: int, most: int) -> bool:
        """Play until the program sleeps at its end, or was asked so often; return whether it ended."""
        first = self.cores[0]
        for _ in range(most):
            kind = self.ask()
            if kind == STOPPED and (first.get("pc") == end or not self.setup.lines):
                return True
            free = max(first.cycle, self.cycle)
            if kind == ACCESS:
                free = first.get("out_start")
            if self.setup.lines and (kind == STOPPED or self.drawn.random() < 0.3):
                at = self.drawn.randrange(self.cycle, free + 20)
                lines = 1 << 31 if kind == STOPPED else self.drawn_lines()
                if kind != ACCESS or at <= free:
                    if self.line(at, lines, False) or kind != ACCESS:
                        self.cycle = max(at, first.cycle)
                        continue
                    free = first.get("out_start")
                else:
                    self.line(at, lines, True)
            if kind == ACCESS:
                told = (first.get(f"out_{what}") for what in ("address", "data", "lanes"))
                stop, word, failed = self.bus(free, bool(first.get("out_write")), *told)
                self.cycle, self.result = stop + 1, (word, int(failed))
            else:
                self.cycle = free
        return False
