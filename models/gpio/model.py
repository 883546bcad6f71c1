"""General-purpose inputs and outputs, in Python."""

from __future__ import annotations

from typing import Any, ClassVar

from busbox.device import NO_ACCESS, RELEASED, Host, RegisterModel, Write
from busbox.models.gpio.declaration import SYNCHRONISER_STAGES, GpioRegisters


class InputStage:
    """Input pins behind two synchroniser stages, and the edges that come out of them.

    Attributes
    ----------
    word : the synchronised levels, as of the cycle it was brought to

    Timing
    ------
    A level on a pin from cycle c is in ``word`` from c + 2. A level that is there when the stage is
    reset, until cycle ``origin``, counts as from that cycle on.
    """

    def __init__(self) -> None:
        self._lines = 0
        self.clear(0)

    def clear(self, origin: int) -> None:
        """Reset the stages; the levels on the pins come through them again."""
        self.word = 0
        self._origin = origin
        self._coming = [(origin + SYNCHRONISER_STAGES, self._lines)]
        self._edges: list[tuple[int, int, int]] = []

    def put(self, cycle: int, bit: int, level: int) -> None:
        """Take a level that is on a pin from ``cycle`` on."""
        self._lines = self._lines & ~(1 << bit) | level << bit
        through = max(cycle, self._origin) + SYNCHRONISER_STAGES
        if self._coming and self._coming[-1][0] == through:
            self._coming.pop()
        self._coming.append((through, self._lines))

    def forward(self, cycle: int) -> None:
        """Bring the stages to ``cycle``."""
        while self._coming and self._coming[0][0] <= cycle:
            through, word = self._coming.pop(0)
            changed = word ^ self.word
            self.word = word
            if changed:
                self._edges.append((through, changed & word, changed & ~word))

    def edges_before(self, cycle: int) -> list[tuple[int, int, int]]:
        """Take (cycle, bits that rose, bits that fell) of all cycles before ``cycle``."""
        self.forward(cycle - 1)
        taken = [edge for edge in self._edges if edge[0] < cycle]
        self._edges = self._edges[len(taken) :]
        return taken

    def next_word(self) -> int | None:
        """Return the cycle in which the word may change next."""
        return self._coming[0][0] if self._coming else None

    def next_edge(self) -> int | None:
        """Return the cycle of the next edge that has not been taken."""
        cycles = [cycle for cycle, *_ in self._edges[:1]] + [cycle for cycle, _ in self._coming[:1]]
        return min(cycles, default=None)


class Gpio(GpioRegisters, RegisterModel):
    """Output pins with set, clear and toggle; input pins behind a synchroniser.

    Registers
    ---------
    ==== ====== ========== ======== =======================================
    0x00 OUT    rw         0        output pin levels
    0x04 SET    ones_act            writing 1 sets a bit of OUT
    0x08 CLEAR  ones_act            writing 1 clears a bit of OUT
    0x0C TOGGLE ones_act            writing 1 inverts a bit of OUT
    0x10 IN     ro                  input pin levels
    0x14 ENABLE rw         all ones 0 releases the output pin
    0x18 RISE   rw         0        enables capture of rising edges of IN
    0x1C FALL   rw         0        enables capture of falling edges of IN
    0x20 EVENTS ones_clear 0        captured edges of IN
    ==== ====== ========== ======== =======================================

    Pins
    ----
    ``out.N`` output, 0 after reset; ``in.N`` input, 0 while nothing drives it; ``interrupt`` output,
    high while EVENTS is not 0.

    Timing
    ------
    A write in cycle e moves the pins in e + 1; a released pin has the level 2 in a recording. A level
    on an input pin from cycle c reads in IN from c + 2 and in EVENTS from c + 3, with RISE and FALL
    as a read in c + 2 would show them. A capture wins over a clear in the same cycle. Always at rest.
    """

    twin: ClassVar[str] = "busbox.models.gpio.hardware:GpioHardware"

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._inputs = InputStage()

    def input(self, cycle: int, pin: str, level: int) -> None:
        """Take a level; it reaches IN two cycles later."""
        self.advance(cycle)
        self._inputs.put(cycle, int(pin.removeprefix("in.")), level)

    def forward(self, cycle: int) -> None:
        """Pass levels through the synchroniser, and capture their edges."""
        self._keep(cycle, self.stored["RISE"], self.stored["FALL"])
        self._inputs.forward(cycle)

    def _keep(self, cycle: int, rise: int, fall: int) -> None:
        """Capture the edges of cycles before ``cycle``; each shows one cycle later."""
        for edge, rose, fell in self._inputs.edges_before(cycle):
            kept = rose & rise | fell & fall
            if kept:
                self.stored["EVENTS"] |= kept
                self.host.edge("interrupt", edge + 1, 1, NO_ACCESS)

    def next_edge(self, cycle: int) -> int | None:
        """Return the cycle in which EVENTS may change."""
        edge = self._inputs.next_edge()
        return None if edge is None else max(edge, cycle) + 1

    def show_IN(self) -> int:
        """Show the synchronised levels."""
        return self._inputs.word

    def cacheable_until_IN(self) -> int | None:
        """Return the cycle in which the next level has come through the synchroniser."""
        return self._inputs.next_word()

    def cacheable_until_EVENTS(self) -> int | None:
        """Return the cycle in which an edge may be captured."""
        return self.next_edge(self.cycle)

    def write_OUT(self, write: Write) -> None:
        """Move the pins that change."""
        self._move(write, write.before ^ write.value)

    def write_SET(self, write: Write) -> None:
        """Set the bits written as 1."""
        self._put(write, self.stored["OUT"] | write.ones)

    def write_CLEAR(self, write: Write) -> None:
        """Clear the bits written as 1."""
        self._put(write, self.stored["OUT"] & ~write.ones)

    def write_TOGGLE(self, write: Write) -> None:
        """Invert the bits written as 1."""
        self._put(write, self.stored["OUT"] ^ write.ones)

    def write_ENABLE(self, write: Write) -> None:
        """Release pins, or drive them again."""
        self._move(write, write.before ^ write.value)

    def write_RISE(self, write: Write) -> None:
        """Capture this cycle's edges with the old RISE."""
        self._keep(write.shows, write.before, self.stored["FALL"])

    def write_FALL(self, write: Write) -> None:
        """Capture this cycle's edges with the old FALL."""
        self._keep(write.shows, self.stored["RISE"], write.before)

    def write_EVENTS(self, write: Write) -> None:
        """Clear bits; an edge of this very cycle wins."""
        self._keep(write.shows, self.stored["RISE"], self.stored["FALL"])
        self.host.edge("interrupt", write.shows, int(self.stored["EVENTS"] != 0), write.number)

    def _put(self, write: Write, value: int) -> None:
        before, self.stored["OUT"] = self.stored["OUT"], value
        self._move(write, before ^ value)

    def _move(self, write: Write, changed: int) -> None:
        out, enable = self.stored["OUT"], self.stored["ENABLE"]
        while changed:
            bit = (changed & -changed).bit_length() - 1
            changed &= changed - 1
            level = out >> bit & 1 if enable >> bit & 1 else RELEASED
            self.host.edge(f"out.{bit}", write.shows, level, write.number)

    def clear(self) -> None:
        """Reset the synchroniser."""
        self._inputs.clear(self.cycle)
