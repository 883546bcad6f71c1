"""The loop as machine code, with the design inside. Needs the extra ``fast`` (llvmlite)."""

from __future__ import annotations

import ctypes
from array import array
from collections.abc import Callable, Mapping
from functools import partial
from struct import Struct

from busbox.core.core import Core
from busbox.engines import llvm_layout
from busbox.engines.kernel import Parts, pin, watch_address, watch_data
from busbox.engines.llvm_layout import COMMANDS, CONSULT, CORE, LoopLayout, Records, lay_out_loop
from busbox.engines.llvm_loop import Writer
from busbox.engines.loop import CALLED, INITIAL, LOGGED, STATE
from busbox.engines.native_core import NativeExecutor
from busbox.engines.netlist.layout import Place
from busbox.engines.netlist.native import Native, compile_ir
from busbox.engines.netlist_engine import NetlistEngine

_LOGGED, _FULL = STATE.index("logged"), STATE.index("full")

_CALL = Struct(f"={len(CALLED)}q")


class LlvmKernel:
    """Runs the loop as machine code (see :class:`busbox.engines.kernel.Kernel`)."""

    def __init__(self, parts: Parts) -> None:
        if "llvm" not in parts.made:
            made = lay_out_loop(parts)
            parts.made["llvm"] = made, compile_ir(Writer(parts, made).text())
        self._layout: LoopLayout = parts.made["llvm"][0]
        self._code: Native = parts.made["llvm"][1]
        layout, program = self._layout.design, parts.program
        self._words = (ctypes.c_int64 * (self._layout.size // 8))()
        self._block = memoryview(self._words).cast("B")
        self._block[: layout.size] = layout.image(program)[: layout.size]
        numbers = self._block.cast("q")
        self.state = numbers[: len(STATE)]
        for name, value in INITIAL.items():
            self.state[STATE.index(name)] = value
        self.state[STATE.index("log_room")] = llvm_layout.ROOM
        self.cached = _numbers(numbers, self._layout.cached)
        self._log = _numbers(numbers, self._layout.log)
        self._pointers = numbers[len(STATE) : len(STATE) + 3]
        self._played = array("q")
        self._inputs = {one.name for one in program.inputs}
        entry = ctypes.CFUNCTYPE(ctypes.c_int64, ctypes.c_void_p)
        at = ctypes.addressof(self._words)
        self._look, self._peek, loop = (
            partial(entry(self._code.address(name)), at) for name in ("look", "peek", "loop")
        )
        #: Run the loop until it returns; return why.
        self.go: Callable[[], int] = loop

    def call(self) -> tuple[int, ...]:
        """Return the numbers of a call."""
        numbers: tuple[int, ...] = _CALL.unpack_from(self._block)
        return numbers

    def play(self, commands: array[int]) -> None:
        """Take commands from here."""
        self._played = commands
        self._pointers[COMMANDS] = commands.buffer_info()[0]

    def attach(self, core: Core) -> None:
        """Let a core give commands."""
        assert isinstance(core.executor, NativeExecutor)
        self._pointers[CORE] = core.executor.address
        self._pointers[CONSULT] = core.executor.entry

    def logged(self) -> array[int]:
        """Return what the loop has logged, and forget it."""
        count, self.state[_LOGGED] = self.state[_LOGGED], 0
        self.state[_FULL] = 0
        return array("q", bytes(self._log[: count * LOGGED]))

    @property
    def noted(self) -> bool:
        """Whether something was seen of a hardware device, and is not forgotten."""
        return any(one.count(self._block) for one in self._layout.records)

    def samples(self, slot: int) -> tuple[list[int], list[int]]:
        """Return cycles and words that were seen of a hardware device, and forget them."""
        return self._records(self._layout.seen[slot])

    def guarded(self, slot: int) -> tuple[list[int], list[int]]:
        """Return cycles and words of a hardware device's guard, and forget them."""
        return self._records(self._layout.guards[slot])

    def _records(self, records: Records) -> tuple[list[int], list[int]]:
        found = records.take(self._block)
        if found[0]:
            self.state[_FULL] = 0
        return found

    def see(self, slot: int) -> int:
        """Settle; return what is seen of a hardware device, and compare with that from now on."""
        self._look()
        records = self._layout.seen[slot]
        word = records.source.read(self._block)
        records.last.write(self._block, word)
        return word

    def watch(self, slot: int, mask: int, notes: bool) -> None:
        """Stop for these bits of what is seen, and for notes."""
        records = self._layout.seen[slot]
        for place, bits in ((records.watched, mask), (records.watched_notes, int(notes))):
            place.write(self._block, place.read(self._block) | bits)

    def drive(self, slot: int, member: str, word: int) -> None:
        """Give the pins of a member their levels."""
        self._layout.design.inputs[pin(slot, member)].write(self._block, word)

    def tie(self, levels: Mapping[str, int]) -> None:
        """Tie inputs of the design to levels for the whole run, before its first cycle."""
        for name, level in levels.items():
            if name in self._inputs:
                self._layout.design.inputs[name].write(self._block, level)

    def peek(self, slot: int, offset: int) -> int:
        """Return a register of a hardware device."""
        if watch_address(slot) in self._inputs:
            self._layout.design.inputs[watch_address(slot)].write(self._block, offset >> 2)
        self._peek()
        return self._layout.design.outputs[watch_data(slot)].read(self._block)


def _numbers(block: memoryview, place: Place) -> memoryview:
    """Return the numbers of 64 bits at a place."""
    return block[place.offset // 8 : place.end // 8]


class LlvmEngine(NetlistEngine):
    """Runs a design as machine code."""

    name = "llvm"
    core_executor = NativeExecutor

    @staticmethod
    def make_kernel(parts: Parts) -> LlvmKernel:
        """Return the kernel, in its state before cycle 0."""
        return LlvmKernel(parts)
