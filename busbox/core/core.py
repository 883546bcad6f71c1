"""The core of a run: its state, its memories, and how it is asked and rewound."""

from __future__ import annotations

from typing import Any

from busbox.core.layout import AT, REGISTERS, Executor, fill, given, half
from busbox.core.machine import ACCESS, CHANGING, DECODE, IDLE, STOPPED, UNHANDLED, WAITING
from busbox.core.setup import CoreSetup

#: Cycles that a core executes ahead at most.
AHEAD = 1 << 16
_NOW, _RESULT, _FAILED, _UNTIL = (AT[name] for name in ("now", "result", "failed", "until"))
_NOTED, _ANSWERED, _KIND = (AT[name] for name in ("noted", "answered", "kind"))


class Core:
    """A core that executes firmware. See the numbered sentences in :mod:`busbox.core`.

    Parameters
    ----------
    setup : what it is
    executor : made from the setup and the contents of all memories, one after the other; None: the
        one in Python

    Attributes
    ----------
    kind : why it was left last: ``ACCESS``, ``IDLE`` or ``STOPPED``
    """

    def __init__(self, setup: CoreSetup, executor: type[Any] | None = None) -> None:
        if executor is None:
            from busbox.core.blocks import PythonExecutor  # late: a run as machine code needs none

            executor = PythonExecutor
        self.setup = setup
        contents = b"".join(memory.bytes() for memory in setup.memories)
        self.executor: Executor = executor(setup, contents or bytes(4))
        self._rewinds = bool(setup.lines)
        self.mask = sum(1 << bit for bit in set(setup.lines.values()))
        for name, value in given(setup, self.executor.code_mask).items():
            self.set(name, value)
        self.reset(1)

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
        state = self.executor.state
        state[_NOW], state[_RESULT], state[_FAILED] = cycle, result, failed
        if self._rewinds:
            self.save(answered=1)
        else:
            state[_NOTED], state[_ANSWERED] = 0, 1
        return self.run(cycle + AHEAD)

    def run(self, until: int) -> int:
        """Execute what begins before a cycle, up to an access."""
        executor = self.executor
        state = executor.state
        state[_UNTIL] = until
        while True:
            executor.run()
            kind: int = state[_KIND]
            if kind != DECODE:
                return kind
            self.fill()

    def fill(self) -> None:
        """Decode the instruction that is to be executed next."""
        fill(self.setup, self.executor)

    def half(self, address: int) -> int | None:
        """Return the half-word at an address, or None if it is in no memory."""
        return half(self.setup, self.executor.m16, address)

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
        due = self.kind == ACCESS and self.get("out_start") >= cycle
        withdrawn = not up and (due or self.cycle > cycle) and self._rewind(cycle)
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
