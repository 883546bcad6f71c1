"""The loop as machine code, with the design inside. Needs the extra ``fast`` (llvmlite)."""

from __future__ import annotations

import ctypes
from array import array
from collections.abc import Callable, Mapping
from functools import partial
from struct import Struct
from typing import TYPE_CHECKING

from busbox.engines import llvm_layout
from busbox.engines.kernel import Parts, pin, watch_address, watch_data
from busbox.engines.llvm_layout import COMMANDS, CONSULT, CORE, LoopLayout, Records, lay_out_loop
from busbox.engines.loop import CALLED, INITIAL, LOGGED, STATE
from busbox.engines.netlist.layout import Place
from busbox.engines.netlist.native import LEVEL, QUICK, Native, compile_ir, made_by, object_of
from busbox.engines.netlist_engine import NetlistEngine
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.core.core import Core
    from busbox.core.setup import CoreSetup

_LOGGED, _FULL = STATE.index("logged"), STATE.index("full")

#: Accesses for which optimised code saves as much time as it takes to make, with models. Measured with
#: those of first_light: it is made in 0.26 s instead of 0.04 s, and 100,000 accesses take 1.19 s
#: instead of 1.44 s. Hardware and cores run for any number of cycles an access, and a third slower
#: without passes: theirs is always optimised. On disk, optimised code is not made for a short run
#: either: no number of short runs gains by it before they have played as much. But where it is kept, it
#: was paid for, and a short run takes it too.
_MANY = 100_000

_CALL = Struct(f"={len(CALLED)}q")


class LlvmKernel:
    """Runs the loop as machine code (see :class:`busbox.engines.kernel.Kernel`)."""

    def __init__(self, parts: Parts, level: int = LEVEL) -> None:
        made: tuple[LoopLayout, Native] | None = None
        for one in _serving(level):
            made = made or parts.made.get(f"llvm {one}")
        if made is None:
            made = parts.made[f"llvm {level}"] = _made(parts, level)
        self._layout, self._code = made
        layout, outline = self._layout.design, parts.outline
        entry = ctypes.CFUNCTYPE(ctypes.c_int64, ctypes.c_void_p)
        room = entry(self._code.address("room"))(None)
        self._words = (ctypes.c_int64 * ((self._layout.size + room) // 8 + 1))()
        self._block = memoryview(self._words).cast("B")
        self._block[: layout.size] = layout.image(outline)[: layout.size]
        numbers = self._block.cast("q")
        self.state = numbers[: len(STATE)]
        for name, value in INITIAL.items():
            self.state[STATE.index(name)] = value
        self.state[STATE.index("log_room")] = llvm_layout.ROOM
        self.cached = _numbers(numbers, self._layout.cached)
        self._log = _numbers(numbers, self._layout.log)
        self._pointers = numbers[len(STATE) : len(STATE) + 3]
        self._played = array("q")
        self._inputs = {one.name for one in outline.inputs}
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

    def attach(self, setup: CoreSetup) -> Core:
        """Return a core, which gives the commands from now on."""
        from busbox.core.core import Core
        from busbox.engines.native_core import NativeExecutor

        core = Core(setup, NativeExecutor)
        assert isinstance(core.executor, NativeExecutor)
        self._pointers[CORE] = core.executor.address
        self._pointers[CONSULT] = core.executor.entry
        return core

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


def level_for(system: System) -> int:
    """Return how thoroughly the code of a system's run is to be optimised; see :data:`_MANY`."""
    if system.core is not None or any(device.model.in_amaranth for device in system.devices):
        return LEVEL
    count = system.new_source().count
    return LEVEL if count is None or count >= _MANY else QUICK


def _serving(level: int) -> tuple[int, ...]:
    """Return the levels whose code serves where this one is asked for, the best one first."""
    return tuple(sorted({LEVEL, level}, reverse=True))


def _made(parts: Parts, level: int) -> tuple[LoopLayout, Native]:
    """Return where everything lives, and the code."""

    def text() -> str:
        from busbox.engines.llvm_loop import Writer

        return Writer(parts, lay_out_loop(parts)).text()

    if parts.content is None:
        code = compile_ir(text(), level)
    else:
        kinds = [b"llvm " + made_by(one) for one in _serving(level)]
        code = Native(parts.kept(kinds, lambda: object_of(text(), level)), level)
    return lay_out_loop(parts), code


def _numbers(block: memoryview, place: Place) -> memoryview:
    """Return the numbers of 64 bits at a place."""
    return block[place.offset // 8 : place.end // 8]


class LlvmEngine(NetlistEngine):
    """Runs a design as machine code."""

    name = "llvm"

    @staticmethod
    def make_kernel(parts: Parts, system: System) -> LlvmKernel:
        """Return the kernel, in its state before cycle 0."""
        return LlvmKernel(parts, level_for(system))
