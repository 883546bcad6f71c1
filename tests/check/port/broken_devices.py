"""Devices for the check of conformance: one that is right, and others that each do one thing wrong."""

from __future__ import annotations

from typing import Any, ClassVar

from amaranth.hdl import Module, Mux, ResetSignal, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In

from busbox.bus import wishbone
from busbox.bus.hardware import Hardware
from busbox.map.registers import Register, RegisterTable

KEPT, HITS, COUNT = range(3)


class Box(Hardware):
    """A register that is written, one that tells accesses (0 here), and one that counts cycles.

    It answers ``slow`` cycles after STB rises.
    """

    table = RegisterTable(
        Register("KEPT", 4 * KEPT),
        Register("HITS", 4 * HITS, "ro"),
        Register("COUNT", 4 * COUNT, "ro"),
    )
    slow = 0
    called: Any
    kept: Any
    hits: Any

    def elaborate(self, platform: object) -> Module:
        m, bus = Module(), self.bus
        self.called, self.kept, self.hits, count, waited = (
            Signal(), Signal(32), Signal(32), Signal(32, init=5), Signal(8),
        )  # fmt: skip
        m.d.comb += self.called.eq(bus.cyc & bus.stb)
        m.d.sync += [
            count.eq(count + 1),
            waited.eq(Mux(self.called & ~(bus.ack | bus.err), waited + 1, 0)),
        ]
        read = Signal(32)
        self.show(m, read)
        for address, word in ((bus.adr, read), (self.watch_adr, self.watch_data)):
            with m.Switch(address):
                for number, value in enumerate((self.kept, self.hits, count)):
                    with m.Case(number):
                        m.d.comb += word.eq(value)
        self.answer(m, self.called & (waited == self.slow))
        self.commit(m, bus.ack & bus.we & (bus.adr == KEPT))
        return m

    def answer(self, m: Module, ends: Any) -> None:
        """Answer where an access ends."""
        m.d.comb += self.bus.ack.eq(ends)

    def show(self, m: Module, word: Any) -> None:
        """Give a read the word that the address chooses in this cycle."""
        m.d.comb += self.bus.read_data.eq(word)

    def commit(self, m: Module, written: Any) -> None:
        """Store where a write ends."""
        with m.If(written):
            m.d.sync += self.kept.eq(self.bus.write_data)


class Slow(Box):
    """Right, three cycles late."""

    slow = 3


class AnswersCyc(Box):
    """Takes CYC for a request: ACK while it is not selected."""

    def answer(self, m: Module, ends: Any) -> None:
        m.d.comb += self.bus.ack.eq(self.bus.cyc)


class AnswersOnceMore(Box):
    """ACK stays up for a cycle behind an answer, although STB fell."""

    def answer(self, m: Module, ends: Any) -> None:
        again = Signal()
        m.d.sync += again.eq(ends)
        m.d.comb += self.bus.ack.eq(ends | again)


class AnswersWhatWasCutOff(Box):
    """ACK is a register that looks at STB of the cycle before only."""

    def answer(self, m: Module, ends: Any) -> None:
        m.d.sync += self.bus.ack.eq(self.called & ~self.bus.ack)


class AnswersTwice(Box):
    """ACK and ERR together."""

    def answer(self, m: Module, ends: Any) -> None:
        m.d.comb += [self.bus.ack.eq(ends), self.bus.err.eq(ends & self.bus.we)]


class AnswersInReset(Box):
    """ACK in the cycles behind RST."""

    def answer(self, m: Module, ends: Any) -> None:
        was_reset = Signal(reset_less=True)
        m.d.sync += was_reset.eq(ResetSignal())
        m.d.comb += self.bus.ack.eq(ends | was_reset)


class CommitsEarly(Box):
    """Answers a cycle late, and stores with STB, before ACK."""

    slow = 1

    def commit(self, m: Module, written: Any) -> None:
        with m.If(self.called & self.bus.we & (self.bus.adr == KEPT)):
            m.d.sync += self.kept.eq(self.bus.write_data)


class CommitsLate(Box):
    """Stores a row after the house does."""

    def commit(self, m: Module, written: Any) -> None:
        late, data = Signal(), Signal(32)
        m.d.sync += [late.eq(written), data.eq(self.bus.write_data)]
        with m.If(late):
            m.d.sync += self.kept.eq(data)


class ReadsEarly(Box):
    """Its read data goes through a register: a read shows the cycle before."""

    slow = 1

    def show(self, m: Module, word: Any) -> None:
        m.d.sync += self.bus.read_data.eq(word)


class ReadsBothWays(Box):
    """COUNT is read through a register of its own; HITS, which counts too, at once."""

    slow = 1

    def commit(self, m: Module, written: Any) -> None:
        super().commit(m, written)
        m.d.sync += self.hits.eq(self.hits + 3)

    def show(self, m: Module, word: Any) -> None:
        before = Signal(32)
        m.d.sync += before.eq(word)
        m.d.comb += self.bus.read_data.eq(Mux(self.bus.adr == COUNT, before, word))


class CountsWhatBegins(Box):
    """HITS counts the cycles with STB, answered or not."""

    slow = 2

    def commit(self, m: Module, written: Any) -> None:
        super().commit(m, written)
        with m.If(self.called):
            m.d.sync += self.hits.eq(self.hits + 1)


class CountsWhatIsNear(Box):
    """HITS counts the cycles in which CYC is up, STB or not."""

    def commit(self, m: Module, written: Any) -> None:
        super().commit(m, written)
        with m.If(self.bus.cyc & ~self.bus.stb & (self.bus.adr == HITS)):
            m.d.sync += self.hits.eq(self.hits + 1)


class Silent(Box):
    """Never answers."""

    def answer(self, m: Module, ends: Any) -> None:
        pass


class SilentInHoles(Box):
    """Does not answer where there is no register."""

    def answer(self, m: Module, ends: Any) -> None:
        m.d.comb += self.bus.ack.eq(ends & (self.bus.adr <= COUNT))


class Refuses(Box):
    """Ends every access with ERR."""

    def answer(self, m: Module, ends: Any) -> None:
        m.d.comb += self.bus.err.eq(ends)


class Patient(Box):
    """Wants its address for two cycles before STB, and says both ACK and ERR if it was not there."""

    least_wait = 2

    def answer(self, m: Module, ends: Any) -> None:
        before, earlier = Signal.like(self.bus.adr), Signal.like(self.bus.adr)
        m.d.sync += [before.eq(self.bus.adr), earlier.eq(before)]
        moved = (before != self.bus.adr) | (earlier != self.bus.adr)
        m.d.comb += [self.bus.ack.eq(ends), self.bus.err.eq(ends & moved)]


class CommitsDifferently(Box):
    """HITS is written too, a cycle later than KEPT."""

    table = RegisterTable(Register("KEPT", 4 * KEPT), Register("HITS", 4 * HITS))

    def commit(self, m: Module, written: Any) -> None:
        super().commit(m, written)
        late, data = Signal(), Signal(32)
        m.d.sync += data.eq(self.bus.write_data)
        m.d.sync += late.eq(self.bus.ack & self.bus.we & (self.bus.adr == HITS))
        with m.If(late):
            m.d.sync += self.hits.eq(data)


class EachItsOwn(Box):
    """No two copies of it are alike: the second is slower than the first, and so on."""

    built: ClassVar[int] = 0

    def elaborate(self, platform: object) -> Module:
        type(self).built += 1
        self.slow = type(self).built
        return super().elaborate(platform)


class Plain(wiring.Component):
    """No device of the house: a word at 4, and pins that do nothing.

    Parameters
    ----------
    late : cycles by which a write is committed too late, 0 or 1
    slow : cycles between STB and ACK
    """

    bus: Any

    def __init__(self, late: int = 0, slow: int = 0) -> None:
        self.late, self.slow = late, slow
        super().__init__({"bus": In(wishbone.Signature(4)), "levers": In(3)})

    def elaborate(self, platform: object) -> Module:
        m, bus = Module(), self.bus
        called, kept, waited, data, written = (
            Signal(), Signal(32), Signal(2), Signal(32), Signal(),
        )  # fmt: skip
        m.d.comb += [
            called.eq(bus.cyc & bus.stb),
            bus.ack.eq(called & (waited == self.slow)),
            bus.read_data.eq(Mux(bus.adr == 1, kept, 0)),
        ]
        m.d.sync += [
            waited.eq(Mux(called & ~bus.ack, waited + 1, 0)),
            data.eq(bus.write_data),
            written.eq(bus.ack & bus.we & (bus.adr == 1)),
        ]
        with m.If(written if self.late else bus.ack & bus.we & (bus.adr == 1)):
            m.d.sync += kept.eq(data if self.late else bus.write_data)
        return m


class Levered(Plain):
    """ACK whenever its first lever is up."""

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.d.comb += self.bus.ack.eq((self.bus.cyc & self.bus.stb) | self.levers[0])
        return m


class Forgetful(wiring.Component):
    """Stores nothing."""

    bus: Any

    def __init__(self) -> None:
        super().__init__({"bus": In(wishbone.Signature(1))})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.d.comb += self.bus.ack.eq(self.bus.cyc & self.bus.stb)
        return m
