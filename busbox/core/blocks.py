"""Executes with Python alone: blocks of instructions as Python functions, and an interpreter.

What is arrived at often becomes a block (:mod:`busbox.core.block_tree`), whose source is made from the
definitions of the instructions (:mod:`busbox.core.block_source`). All else is left to the interpreter
(:mod:`busbox.core.interpreter`), in the same state that it would have come to by itself: traps,
interrupts, registers of the machine, the last instructions before ``until``, stores into words of
blocks. Such a store, and ``forget``, drop all blocks with an instruction in the word.

Interrupts are looked at where ``run`` begins, and by the interpreter: lines are constant in a run, and
only the interpreter changes what enables them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

from busbox.core.block_source import AFTER, END, LEFT, ONE, Source
from busbox.core.block_tree import Tree
from busbox.core.interpreter import interpreter
from busbox.core.layout import AT, REGISTERS, decoded, fill, forget, given
from busbox.core.machine import ACCESS, CHANGING, CODED, DECODE, IDLE, NOTED, ROOM, STATE
from busbox.core.setup import CoreSetup

_M = 0xFFFFFFFF
#: Arrivals that do not count any more: nothing at that address can be in a block.
_NEVER = -(1 << 60)
#: How often a block is dropped at most before it is not made again for a long time.
_PATIENCE = 16
_PC, _CYCLE, _UNTIL, _KIND, _PENDING = (
    AT[name] for name in ("pc", "cycle", "until", "kind", "pending")
)
_SLEEPING = AT["sleeping"]
_FAILED, _MIE_BIT, _MIE, _LINES = (AT[name] for name in ("failed", "mie_bit", "mie", "lines"))
_FRESH = AT["fresh"]
_P_LEFT, _P_SIZE, _P_SHIFT = (AT[name] for name in ("p_left", "p_size", "p_shift"))

Block = Callable[[], int]


class PythonExecutor:
    """Executes with Python alone (see :class:`busbox.core.layout.Executor`)."""

    code_mask = (1 << 14) - 1
    #: Arrivals at an address after which a block is made.
    often = 100

    def __init__(self, setup: CoreSetup, contents: bytes) -> None:
        self.state: list[int] = [0] * len(STATE)
        self.x = [0] * REGISTERS
        self.m8 = memoryview(bytearray(contents))
        self.m16, self.m32 = self.m8.cast("H"), self.m8.cast("I")
        self.code = [0] * (CODED * (self.code_mask + 1))
        self.journal = [0] * (NOTED * ROOM)
        self.saved = [0] * len(CHANGING)
        self.saved_x = [0] * REGISTERS
        self._setup = setup
        self._blocks: dict[int, Block] = {}
        # Word of the contents to the blocks with an instruction in it; how often a block was dropped.
        self._within: dict[int, set[int]] = {}
        self._dropped: dict[int, int] = {}
        self._heat: dict[int, int] = {}
        self._marked = bytearray(len(self.m32))
        self._stale: list[int] = []
        known, due = _access(self.state, setup)
        words = (self.state, self.x, self.m8, self.m16, self.m32)
        self._works_on = (*words, self.journal, self._marked, due, known)
        on = (*words, self.code, self.journal, self._heat, self._marked, self._stale, self.often)
        self._interpreter = interpreter(on, given(setup, self.code_mask))

    def run(self) -> None:
        """Execute until an access is due, or another reason in ``kind``."""
        state, get = self.state, self._blocks.get
        if (
            state[_PENDING]
            and not state[_FAILED]
            and not (state[_MIE_BIT] and state[_LINES] & state[_MIE])
            and state[_P_LEFT] == state[_P_SIZE]
            and not state[_P_SHIFT]
        ):
            pc = state[_PC] | AFTER
        else:
            pc = self._interpret()
        while True:
            block = get(pc)
            while block is not None:
                pc = block()
                block = get(pc)
            if pc == LEFT:
                return
            pc = self._without_block(pc)

    def fill(self) -> None:
        """Decode the instruction that is to be executed next."""
        fill(self._setup, self)

    def _without_block(self, pc: int) -> int:
        """Execute from an address on where there is no block; return where to go on."""
        self.state[_PC] = pc & _M
        if pc & ONE:
            pc = self._interpret_one()
            if pc == LEFT:
                return LEFT
            state = self.state
            if state[_FRESH] or (state[_MIE_BIT] and state[_LINES] & state[_MIE]):
                return self._interpret()
        elif pc & END:
            return self._interpret()
        heat = self._heat.get(pc, 0) + 1
        self._heat[pc] = heat
        if pc in self._blocks or (heat > self.often and self._make(pc)):
            return pc
        return self._interpret()

    def _interpret(self) -> int:
        """Let the interpreter execute; return where a block begins, or ``LEFT``."""
        state = self.state
        while not self._interpreter():
            if self._stale:
                self._drop_stale()
            if state[_KIND] != DECODE:
                return LEFT
            self.fill()
        if self._stale:
            self._drop_stale()
        pc = state[_PC]
        if pc not in self._blocks:
            self._make(pc)
        return pc

    def _interpret_one(self) -> int:
        """Let the interpreter execute one instruction; return what follows, or ``LEFT``."""
        state = self.state
        until = state[_UNTIL]
        state[_UNTIL] = state[_CYCLE] + 1
        pc = self._interpret()
        if state[_UNTIL]:
            # Otherwise there is no more room in the journal.
            state[_UNTIL] = until
            if pc == LEFT and state[_KIND] == IDLE:
                return self._interpret() if state[_SLEEPING] else state[_PC]
        return pc

    def forget(self, address: int) -> None:
        """Take it that the word at an address has changed."""
        forget(self.code, self.code_mask, address)
        start = 0
        for memory in self._setup.memories:
            if memory.base <= address < memory.end:
                self._drop(address - memory.base + start >> 2)
            start += memory.size

    # Making and dropping blocks.

    def _make(self, pc: int) -> bool:
        """Make a block; return whether there can be one."""
        setup, root, after, written = self._setup, pc & _M, None, REGISTERS - 1
        covers = set()
        if pc & AFTER:
            after = decoded(setup, self.m16, root)
            covers.add((root, after.size))
            root, written = root + after.size & _M, after.rd
        tree = Tree(setup, lambda at: decoded(setup, self.m16, at), self.x, root, written)
        if not tree.covers and after is None:
            self._heat[pc] = _NEVER
            return False
        self._blocks[pc] = _compiled(Source(setup, tree, root, after).whole())(*self._works_on)
        for at, size in covers | tree.covers:
            for part in range(0, size, 2):
                word = self._word(at + part & _M)
                self._within.setdefault(word, set()).add(pc)
                self._marked[word] = 1
        return True

    def _word(self, address: int) -> int:
        """Return the number of the word of the contents that holds a byte."""
        start = 0
        for memory in self._setup.memories:
            if memory.base <= address < memory.end:
                return address - memory.base + start >> 2
            start += memory.size
        raise IndexError(address)

    def _drop_stale(self) -> None:
        for word in self._stale:
            self._drop(word)
        self._stale.clear()

    def _drop(self, word: int) -> None:
        """Drop the blocks with an instruction in a word."""
        self._marked[word] = 0
        for pc in self._within.pop(word, ()):
            if self._blocks.pop(pc, None) is not None:
                times = self._dropped[pc] = self._dropped.get(pc, 0) + 1
                self._heat[pc] = -(self.often << min(times, _PATIENCE))


@lru_cache(maxsize=4096)
def _compiled(source: str) -> Callable[..., Block]:
    scope: dict[str, Any] = {}
    exec(compile(source, "<block>", "exec"), scope)
    made: Callable[..., Block] = scope["make"]
    return made


def _access(state: list[int], setup: CoreSetup) -> tuple[Callable[..., int], Callable[..., int]]:
    """Return what raises an access of one piece, and what does so unless it has to trap or be split."""
    access_at = setup.access_at
    own = [(memory.base, memory.end) for memory in setup.memories]
    instret = AT["instret"]
    told = slice(_KIND, instret + 1)
    pending = slice(_PENDING, AT["p_cost"] + 1)

    def known(at: int, word: int, access: tuple[int, ...]) -> int:
        store, rd, width, more, behind, rest, pc = access
        shift = at & 3
        cycle = state[_CYCLE] + access_at
        data = (word & (1 << 8 * width) - 1) << 8 * shift if store else 0
        lanes = (1 << width) - 1 << shift
        state[told] = (
            ACCESS, store, at & 0xFFFFFFFC, data, lanes, cycle, pc, cycle, state[instret],
        )  # fmt: skip
        state[pending] = (1, store, rd, at, width, more, behind, width, word, 0, rest)
        return LEFT

    def due(at: int, word: int, access: tuple[int, ...]) -> int:
        if at & access[2] - 1:
            return access[6] | ONE
        if access[0]:
            # A load has looked in all memories; a store not in those that nothing can be stored in.
            for base, end in own:
                if base <= at < end:
                    return access[6] | ONE
        return known(at, word, access)

    return known, due
