"""The core of a run: its state, its memories, and how it is asked and rewound."""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from busbox.core.decoding import Decoded, decode, unfetched
from busbox.core.image import Memory
from busbox.core.instructions import INSTRUCTIONS
from busbox.core.interpreter import interpreter
from busbox.core.machine import (
    ACCESS,
    CHANGING,
    CODED,
    DECODE,
    IDLE,
    NOTED,
    ROOM,
    STATE,
    STOPPED,
    UNHANDLED,
    WAITING,
)

#: Cycles that a core executes ahead at most.
AHEAD = 1 << 16
#: Registers of an executor: x0 to x31, and one that nobody reads.
REGISTERS = 33
#: Place of each name in the state.
AT = {name: place for place, name in enumerate(STATE)}


@dataclass(frozen=True)
class CoreSetup:
    """What a core is.

    Attributes
    ----------
    isa : ``rv32i``, ``rv32im``, ``rv32ic`` or ``rv32imc``
    memories : its own, at most :data:`busbox.core.machine.MEMORIES`; they do not overlap
    start : address of the first instruction
    clocks : class of instructions to cycles; every class is there
    access_at : cycles from the first one of a load or store to the one that raises its access
    split : a misaligned load or store becomes several accesses; otherwise it traps
    faults : an access that ends with ERR is an access fault; otherwise a load of 0, or nothing
    ebreak : ``finding``, ``end`` or ``trap``
    lines : pin to the bit of its interrupt line: 3 software, 7 timer, 11 external, 16 to 31 platform
    on_end : ``settle``: the run waits for busy devices when the program has ended; ``stop``: it ends
    program : its file, as messages call it
    hart : the number in mhartid
    """

    isa: str
    memories: tuple[Memory, ...]
    start: int
    clocks: Mapping[str, int]
    access_at: int = 0
    split: bool = False
    faults: bool = True
    ebreak: str = "finding"
    lines: Mapping[str, int] = field(default_factory=dict)
    on_end: str = "settle"
    program: str = ""
    hart: int = 0

    def cost(self, op: int) -> int:
        """Return the cycles of an instruction by its number, a branch not taken."""
        kind = INSTRUCTIONS[op].kind if op < len(INSTRUCTIONS) else "base"
        return self.clocks[kind]


class Executor(Protocol):
    """What executes: the text of the core in one of its forms, with the numbers it works on."""

    state: Any
    x: Any
    m8: Any
    m16: Any
    m32: Any
    code: Any
    journal: Any
    saved: Any
    saved_x: Any
    code_mask: int

    def run(self) -> None:
        """Execute until an access is due, or another reason in ``kind``."""

    def forget(self, address: int) -> None:
        """Take it that the word at an address has changed."""


class PythonExecutor:
    """Executes with Python alone."""

    code_mask = (1 << 14) - 1

    def __init__(self, setup: CoreSetup, contents: bytes) -> None:
        self.state: list[int] = [0] * len(STATE)
        self.x = [0] * REGISTERS
        self.m8 = memoryview(bytearray(contents))
        self.m16, self.m32 = self.m8.cast("H"), self.m8.cast("I")
        self.code = array("q", bytes(8 * CODED * (self.code_mask + 1)))
        self.journal = array("q", bytes(8 * NOTED * ROOM))
        self.saved = [0] * len(CHANGING)
        self.saved_x = [0] * REGISTERS
        self._run = interpreter()

    def run(self) -> None:
        """Execute until an access is due, or another reason in ``kind``."""
        self._run(self.state, self.x, self.m8, self.m16, self.m32, self.code, self.journal)

    def forget(self, address: int) -> None:
        """Take it that the word at an address has changed."""
        forget(self.code, self.code_mask, address)


def forget(code: Any, mask: int, address: int) -> None:
    """Forget the decoded instructions of which a part is in a word."""
    for pc in (address - 2, address, address + 2):
        place = (pc >> 1 & mask) * CODED
        if code[place] == pc + 1:
            code[place] = 0


class Core:
    """A core that executes firmware. See the numbered sentences in :mod:`busbox.core`.

    Parameters
    ----------
    setup : what it is
    executor : made from the setup and the contents of all memories, one after the other

    Attributes
    ----------
    kind : why it was left last: ``ACCESS``, ``IDLE`` or ``STOPPED``
    """

    def __init__(self, setup: CoreSetup, executor: type[Any] = PythonExecutor) -> None:
        self.setup = setup
        contents = b"".join(memory.bytes() for memory in setup.memories)
        self.executor: Executor = executor(setup, contents or bytes(4))
        self.mask = sum(1 << bit for bit in set(setup.lines.values()))
        self._prepare()
        self.reset(1)

    def _prepare(self) -> None:
        setup = self.setup
        letters = sum(1 << ord(letter) - ord("a") for letter in setup.isa[4:])
        given = {
            "align": 0 if "c" in setup.isa[5:] else 2,
            "epc_mask": 0xFFFFFFFE if "c" in setup.isa[5:] else 0xFFFFFFFC,
            "misa": 1 << 30 | letters,
            "hart": setup.hart,
            "split": int(setup.split),
            "faults": int(setup.faults),
            "break_traps": int(setup.ebreak == "trap"),
            "access_at": setup.access_at,
            "taken": setup.clocks["branch_taken"],
            "c_trap": setup.clocks["trap"],
            "code_mask": self.executor.code_mask,
            "journal_on": int(bool(setup.lines)),
        }
        start = 0
        for number, memory in enumerate(setup.memories):
            given |= {
                f"base_{number}": memory.base,
                f"size_{number}": memory.size,
                f"from_{number}": start,
                f"clocks_{number}": memory.clocks,
                f"rom_{number}": int(not memory.writable),
            }
            start += memory.size
        for name, value in given.items():
            self.set(name, value)

    def get(self, name: str) -> int:
        """Return a number of the state."""
        return int(self.executor.state[AT[name]])

    def set(self, name: str, value: int) -> None:
        """Change a number of the state."""
        self.executor.state[AT[name]] = value

    @property
    def kind(self) -> int:
        """Why it was left last."""
        return self.get("kind")

    @property
    def cycle(self) -> int:
        """The first cycle of the next instruction."""
        return self.get("cycle")

    @property
    def wakeable(self) -> bool:
        """Whether a line that is connected can wake the core, which sleeps."""
        enabled = self.get("mie") & self.mask
        return bool(enabled and (self.get("sleeping") == WAITING or self.get("mie_bit")))

    @property
    def ended(self) -> bool:
        """Whether nothing can happen any more: it has stopped, or sleeps and no line can wake it."""
        stopped = self.kind == STOPPED
        return stopped and (self.get("ended") > 0 or not self.wakeable)

    @property
    def registers(self) -> list[int]:
        """The words in x0 to x31."""
        return list(self.executor.x[: REGISTERS - 1])

    def reset(self, cycle: int) -> None:
        """Begin at the start in a cycle; memories keep what is in them."""
        lines = self.get("lines")
        for name in CHANGING:
            self.set(name, 0)
        for number in range(REGISTERS):
            self.executor.x[number] = 0
        self.set("pc", self.setup.start)
        self.set("cycle", cycle)
        self.set("cause", -1)
        self.set("kind", IDLE)
        self.set("lines", lines)
        self.save()

    @property
    def how_ended(self) -> str:
        """How the program has ended: ``running``, ``loop``, ``sleep``, ``ebreak`` or ``trap``."""
        if not self.ended:
            return "running"
        if self.get("ended"):
            return "trap" if self.get("ended") == UNHANDLED else "ebreak"
        return "sleep" if self.get("sleeping") == WAITING else "loop"

    def bits(self, pc: int) -> int:
        """Return the bits of the instruction at an address, -1 if a part of them is in no memory."""
        low = self.half(pc)
        if low is None or low & 3 != 3:
            return -1 if low is None else low
        high = self.half(pc + 2 & 0xFFFFFFFF)
        return -1 if high is None else high << 16 | low

    # Executing.

    def consult(self, cycle: int, result: int, failed: int) -> int:
        """Execute from cycle F on; return why it was left.

        Parameters
        ----------
        cycle : F
        result, failed : how the access that was due has ended
        """
        self.set("now", cycle)
        self.set("result", result)
        self.set("failed", failed)
        self.save(answered=1)
        return self.run(cycle + AHEAD)

    def run(self, until: int) -> int:
        """Execute what begins before a cycle, up to an access."""
        self.set("until", until)
        while True:
            self.executor.run()
            if self.kind != DECODE:
                return self.kind
            self.fill()

    def fill(self) -> None:
        """Decode the instruction that is to be executed next."""
        pc = self.get("pc")
        found = self.decoded(pc)
        executor = self.executor
        place = (pc >> 1 & executor.code_mask) * CODED
        fields = found.op | found.rd << 8 | found.rs1 << 14 | found.rs2 << 19
        executor.code[place + 1] = fields | found.size << 24 | found.more << 27
        executor.code[place + 2] = found.imm
        executor.code[place + 3] = self.setup.cost(found.op)
        executor.code[place] = pc + 1

    def decoded(self, pc: int) -> Decoded:
        """Return the instruction at an address, as the memories are now."""
        low = self.half(pc)
        if low is None:
            return unfetched(pc)
        if low & 3 != 3 and "c" in self.setup.isa[5:]:
            return decode(low, self.setup.isa)
        high = self.half(pc + 2 & 0xFFFFFFFF)
        if high is None:
            return unfetched(pc + 2 & 0xFFFFFFFF)
        return decode(high << 16 | low, self.setup.isa)

    def half(self, address: int) -> int | None:
        """Return the half-word at an address, or None if it is in no memory."""
        start = 0
        for memory in self.setup.memories:
            if memory.base <= address < memory.end:
                return int(self.executor.m16[address - memory.base + start >> 1])
            start += memory.size
        return None

    # Rewinding.

    def save(self, answered: int = 0) -> None:
        """Take a checkpoint; ``answered``: an access that was due has ended."""
        executor = self.executor
        self.set("noted", 0)
        self.set("answered", answered)
        executor.saved[:] = executor.state[: len(CHANGING)]
        executor.saved_x[:] = executor.x[:REGISTERS]

    def line(self, cycle: int, lines: int, up: bool) -> bool:
        """Give the interrupt lines their levels from a cycle on.

        Parameters
        ----------
        up : an access was raised before that cycle, and has not ended

        Returns
        -------
        bool : what was due is not any more: the core is to be asked in its ``cycle``
        """
        withdrawn = not up and self.cycle > cycle and self._rewind(cycle)
        self.set("lines", lines)
        self.save()
        return withdrawn

    def _rewind(self, cycle: int) -> bool:
        """Put the core back, and execute what begins before a cycle."""
        executor = self.executor
        if executor.saved[AT["pending"]] and not executor.saved[AT["answered"]]:
            return False
        for place in range(2 * self.get("noted") - 2, -1, -2):
            word = executor.journal[place]
            executor.m32[word] = executor.journal[place + 1]
            executor.forget(self._address(4 * word))
        executor.state[: len(CHANGING)] = executor.saved[:]
        executor.x[:REGISTERS] = executor.saved_x[:]
        return self.run(cycle) != ACCESS

    def _address(self, place: int) -> int:
        """Return the address of a byte of the contents."""
        for memory in self.setup.memories:
            if place < memory.size:
                return memory.base + place
            place -= memory.size
        raise IndexError(place)
