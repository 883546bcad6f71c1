"""Devices with ports of other kinds: right ones, and others that each do one thing wrong."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from amaranth.hdl import Array, Cat, Module, Mux, ResetSignal, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In

from busbox.bus.ports import KINDS
from busbox.bus.ports.hardware import PortedHardware
from busbox.device import Pin
from busbox.map.registers import Register, RegisterTable

Port = Mapping[str, Any]
#: Words that are stored; there is a register that counts cycles behind them, and a hole behind that.
STORED = 3
COUNT = STORED


class Store(PortedHardware):
    """Three words, a counter of cycles, and an error for everything behind them."""

    table = RegisterTable(
        *(Register(f"WORD{number}", 4 * number) for number in range(STORED)),
        Register("COUNT", 4 * COUNT, "ro"),
    )
    pins = (Pin("lever", "input"),)

    def build_port(self, m: Module, port: Port) -> None:
        self.words = Array(Signal(32, name=f"word_{number}") for number in range(STORED))
        self.count = Signal(32)
        m.d.sync += self.count.eq(self.count + 1)
        m.d.comb += self.watch_data.eq(self.word(self.watch_adr))
        self.serve(m, port)

    def word(self, number: Any) -> Any:
        """Return the word of a number."""
        stored = Mux(number < STORED, self.words[number], 0)
        return Mux(number == COUNT, self.count, stored)

    def store(self, m: Module, number: Any, data: Any, lanes: Any = 0b1111) -> None:
        """Store a word, where that is called."""
        mask = Cat(bit.replicate(8) for bit in Signal(4, name="all", init=15)[:4])
        if not isinstance(lanes, int):
            mask = Cat(bit.replicate(8) for bit in lanes)
        for place in range(STORED):
            with m.If(number == place):
                kept = self.words[place]
                m.d.sync += kept.eq(kept & ~mask | data & mask)

    def serve(self, m: Module, port: Port) -> None:
        """Answer the port."""
        raise NotImplementedError


class Apb(Store):
    """APB; every second transfer waits for two cycles."""

    port_kind = "apb"

    def serve(self, m: Module, port: Port) -> None:
        self.waits, slow = Signal(2), Signal()
        self.number = port["paddr"][2:]
        self.called = port["psel"] & port["penable"]
        m.d.comb += [
            port["prdata"].eq(self.word(self.number)),
            port["pready"].eq(self.ready(m, (self.waits == 2) | ~slow)),
            port["pslverr"].eq(self.error(port)),
        ]
        m.d.sync += self.waits.eq(Mux(self.called & ~port["pready"], self.waits + 1, 0))
        with m.If(self.called & port["pready"]):
            m.d.sync += slow.eq(~slow)
        with m.If(self.writes(m, port)):
            self.store(m, self.number, port["pwdata"], port["pstrb"])

    def ready(self, m: Module, done: Any) -> Any:
        """Return PREADY."""
        return done

    def error(self, port: Port) -> Any:
        """Return PSLVERR."""
        return self.called & port["pready"] & (self.number > COUNT)

    def writes(self, m: Module, port: Port) -> Any:
        """Return where a word is stored."""
        return self.called & port["pready"] & port["pwrite"]


class ApbErrorByAddress(Apb):
    """PSLVERR depends on the address alone: allowed, and not recommended."""

    def error(self, port: Port) -> Any:
        return self.number > COUNT


class ApbWithoutSelect(Apb):
    """Stores what is written to anybody."""

    def writes(self, m: Module, port: Port) -> Any:
        return port["penable"] & port["pwrite"]


class ApbNeedsAPause(Apb):
    """Is ready only if PSEL was low since the last transfer."""

    def ready(self, m: Module, done: Any) -> Any:
        rested = Signal(init=1)
        with m.If(~self.called & ~rested):
            m.d.sync += rested.eq(0)
        return done & self.rested(m)

    def rested(self, m: Module) -> Any:
        """Return whether PSEL was low before this transfer."""
        rested, last = Signal(init=1, name="was_low"), Signal()
        port = self.port
        m.d.sync += last.eq(self.called & port["pready"])
        with m.If(~port["psel"]):
            m.d.sync += rested.eq(1)
        with m.Elif(last):
            m.d.sync += rested.eq(0)
        return rested


class ApbForgetsTheSecond(Apb):
    """Does not store a write whose setup phase follows at once on another transfer."""

    def writes(self, m: Module, port: Port) -> Any:
        ended, close = Signal(), Signal()
        m.d.sync += ended.eq(self.called & port["pready"])
        with m.If(port["psel"] & ~port["penable"]):
            m.d.sync += close.eq(ended)
        return super().writes(m, port) & ~close


class ApbSilent(Apb):
    """Is never ready."""

    def ready(self, m: Module, done: Any) -> Any:
        return 0


class Axi(Store):
    """AXI4-Lite: takes address and data in any order, one write and one read at a time."""

    port_kind = "axi4-lite"

    def serve(self, m: Module, port: Port) -> None:
        self.aw, self.w = Signal(), Signal()
        number, data, lanes = Signal(8), Signal(32), Signal(4)
        m.d.comb += [port["awready"].eq(~self.aw), port["wready"].eq(~self.w)]
        with m.If(port["awvalid"] & ~self.aw):
            m.d.sync += [self.aw.eq(1), number.eq(port["awaddr"][2:])]
        with m.If(port["wvalid"] & ~self.w):
            m.d.sync += [self.w.eq(1), data.eq(port["wdata"]), lanes.eq(port["wstrb"])]
        valid = Signal(name="bvalid_kept")
        m.d.comb += port["bvalid"].eq(valid)
        with m.If(self.written(port) & ~valid):
            m.d.sync += [valid.eq(1), port["bresp"].eq(Mux(number > COUNT, 0b10, 0))]
            self.store(m, number, data, lanes)
        with m.If(valid & port["bready"]):
            m.d.sync += [valid.eq(0), *self.end_write()]
        self.reads(m, port)

    def written(self, port: Port) -> Any:
        """Return whether a write can be answered."""
        return self.aw & self.w

    def end_write(self) -> list[Any]:
        """Return what ends a write."""
        return [self.aw.eq(0), self.w.eq(0)]

    def reads(self, m: Module, port: Port) -> None:
        """Serve the channels AR and R."""
        valid, pending = Signal(name="rvalid_kept"), Signal()
        number = port["araddr"][2:]
        m.d.comb += [
            port["arready"].eq(self.read_ready(port, ~valid & ~pending)),
            port["rvalid"].eq(self.read_valid(m, valid)),
        ]
        kept = self.read(m, port, number)
        with m.If(port["arvalid"] & port["arready"]):
            m.d.sync += [pending.eq(1), *kept]
        with m.Elif(self.goes_on(port, pending)):
            m.d.sync += [pending.eq(0), valid.eq(1)]
        with m.Elif(valid & port["rready"]):
            m.d.sync += valid.eq(0)

    def read_ready(self, port: Port, free: Any) -> Any:
        """Return ARREADY."""
        return free

    def read_valid(self, m: Module, valid: Any) -> Any:
        """Return RVALID."""
        return valid

    def goes_on(self, port: Port, pending: Any) -> Any:
        """Return where RVALID rises."""
        return pending

    def read(self, m: Module, port: Port, number: Any) -> list[Any]:
        """Return what keeps the answer to a read."""
        return [
            port["rdata"].eq(self.word(number)),
            port["rresp"].eq(self.read_response(number)),
        ]

    def read_response(self, number: Any) -> Any:
        """Return RRESP."""
        return Mux(number > COUNT, 0b10, 0)


class AxiThrough(Axi):
    """ARREADY is high where RREADY is: a combinational path."""

    def read_ready(self, port: Port, free: Any) -> Any:
        return free & (port["rready"] | ~port["rvalid"])


class AxiAnswersInReset(Axi):
    """RVALID is high during a reset."""

    def read_valid(self, m: Module, valid: Any) -> Any:
        was = Signal(reset_less=True)
        m.d.sync += was.eq(ResetSignal())
        return valid | (was & ResetSignal())


class AxiMovesData(Axi):
    """RDATA changes while RVALID waits."""

    def read(self, m: Module, port: Port, number: Any) -> list[Any]:
        toggles = Signal()
        m.d.sync += toggles.eq(~toggles)
        kept = Signal(32)
        m.d.comb += port["rdata"].eq(kept ^ (toggles << 31))
        return [kept.eq(self.word(number)), port["rresp"].eq(self.read_response(number))]


class AxiGivesUp(Axi):
    """RVALID is high for one cycle, taken or not."""

    def read_valid(self, m: Module, valid: Any) -> Any:
        before = Signal()
        m.d.sync += before.eq(valid)
        return valid & ~before


class AxiWaitsForReady(Axi):
    """RVALID rises only after RREADY."""

    def goes_on(self, port: Port, pending: Any) -> Any:
        return pending & port["rready"]


class AxiAnswersAddress(Axi):
    """BVALID comes after the address, with or without data."""

    def written(self, port: Port) -> Any:
        return self.aw


class AxiExclusive(Axi):
    """Holes are read with EXOKAY."""

    def read_response(self, number: Any) -> Any:
        return Mux(number > COUNT, 0b01, 0)


class AxiLooksLate(Axi):
    """Takes the address of a read a cycle after its handshake."""

    def read(self, m: Module, port: Port, number: Any) -> list[Any]:
        taken = Signal()
        m.d.sync += taken.eq(port["arvalid"] & port["arready"])
        with m.If(taken):
            m.d.sync += super().read(m, port, number)
        return []


class AxiLosesData(Axi):
    """Forgets write data that comes before its address."""

    def written(self, port: Port) -> Any:
        return self.aw & self.w & ~self.early

    def serve(self, m: Module, port: Port) -> None:
        self.early = Signal()
        with m.If(port["wvalid"] & port["wready"]):
            m.d.sync += self.early.eq(~port["awvalid"] & ~(port["awvalid"] | ~port["awready"]))
        super().serve(m, port)


class Strobed(Store):
    """Strobes with everything; it takes a cycle for a write, none for a read."""

    port_kind = "strobes"

    def serve(self, m: Module, port: Port) -> None:
        waited = Signal()
        m.d.sync += waited.eq(port["select"] & ~port["ready"])
        m.d.comb += [
            port["ready"].eq(port["select"] & (waited | ~port["write"])),
            port["error"].eq(port["ready"] & (port["address"][2:] > COUNT)),
            port["read_data"].eq(self.word(port["address"][2:])),
        ]
        self.take(m, port)

    def take(self, m: Module, port: Port) -> None:
        """Store what is written."""
        with m.If(port["write"] & port["ready"]):
            self.store(m, port["address"][2:], port["write_data"], port["lanes"])


class StrobedLate(Strobed):
    """Stores a cycle after its write, what the port carries then."""

    def take(self, m: Module, port: Port) -> None:
        late, lanes = Signal(), Signal(4)
        m.d.sync += [late.eq(port["write"] & port["ready"]), lanes.eq(port["lanes"])]
        with m.If(late):
            self.store(m, port["address"][2:], port["write_data"], lanes)


class Plainest(Store):
    """Strobes with the least that there is: write, address, data; read data comes a cycle late."""

    port_kind = "strobes"
    port_lacks = frozenset({"select", "read", "lanes", "ready", "error"})
    late = True

    def serve(self, m: Module, port: Port) -> None:
        number = port["address"][2:]
        m.d.sync += port["read_data"].eq(self.word(number))
        with m.If(port["write"]):
            self.store(m, number, port["write_data"])


class Piped(Store):
    """Pipelined Wishbone: a request in every cycle, answered in the next; at times it stalls."""

    port_kind = "wishbone"

    def serve(self, m: Module, port: Port) -> None:
        taken, error, busy = Signal(), Signal(), Signal(3)
        m.d.sync += busy.eq(busy + 1)
        m.d.comb += [
            port["stall"].eq(busy == 0),
            port["ack"].eq(self.acknowledge(m, port, taken & ~error) & port["cyc"]),
            port["err"].eq(self.refuse(port, taken & error) & port["cyc"]),
        ]
        accepted = port["cyc"] & port["stb"] & ~port["stall"]
        m.d.sync += [
            taken.eq(accepted),
            error.eq(port["adr"] > COUNT),
            port["read_data"].eq(self.word(port["adr"])),
        ]
        with m.If(accepted & port["we"]):
            self.store(m, port["adr"], port["write_data"], port["sel"])

    def acknowledge(self, m: Module, port: Port, ends: Any) -> Any:
        """Return ACK."""
        return ends

    def refuse(self, port: Port, ends: Any) -> Any:
        """Return ERR."""
        return ends


class Classic(Store):
    """Wishbone in standard mode, with lanes, an error in holes, and an answer in the first cycle."""

    port_kind = "wishbone"
    port_lacks = frozenset({"stall"})

    def serve(self, m: Module, port: Port) -> None:
        called, hole = port["cyc"] & port["stb"], port["adr"] > COUNT
        m.d.comb += [
            port["ack"].eq(called & ~hole),
            port["err"].eq(called & hole),
            port["read_data"].eq(self.word(port["adr"])),
        ]
        with m.If(port["ack"] & port["we"]):
            self.store(m, port["adr"], port["write_data"], port["sel"])


class PipedTwice(Piped):
    """ACK stays for a cycle behind an answer."""

    def acknowledge(self, m: Module, port: Port, ends: Any) -> Any:
        again = Signal()
        m.d.sync += again.eq(ends)
        return ends | again


class PipedBoth(Piped):
    """ERR comes together with ACK while the lever is up."""

    def refuse(self, port: Port, ends: Any) -> Any:
        return ends | port["ack"] & self.pin_lever


class PipedInReset(Piped):
    """ACK in the cycles behind RST, as long as it is high."""

    def serve(self, m: Module, port: Port) -> None:
        was, ack = Signal(reset_less=True), Signal()
        m.d.sync += was.eq(ResetSignal())
        super().serve(m, {**port, "ack": ack})
        m.d.comb += port["ack"].eq(ack | (was & ResetSignal()))


class PipedAnswersTheStalled(Piped):
    """Answers a request that it stalls, too, if the lever is up."""

    def acknowledge(self, m: Module, port: Port, ends: Any) -> Any:
        return ends | (port["stb"] & port["stall"] & self.pin_lever)


class AxiAlone(wiring.Component):
    """No device of the house: AXI4-Lite at a member ``port``, and a lever that does nothing."""

    port: Any

    def __init__(self, wrong: int = 0) -> None:
        super().__init__({"port": In(KINDS["axi4-lite"].signature(6)), "lever": In(2)})
        self.wrong = wrong

    def elaborate(self, platform: object) -> Module:
        m, port, kept = Module(), self.port, Signal(32)
        both = port.awvalid & port.wvalid & ~port.bvalid
        done = Signal()
        m.d.comb += [port.awready.eq(done), port.wready.eq(done), port.arready.eq(~port.rvalid)]
        m.d.sync += done.eq(both & ~done)
        with m.If(done):
            m.d.sync += [kept.eq(port.wdata), port.bvalid.eq(1)]
        with m.If(port.bvalid & port.bready):
            m.d.sync += port.bvalid.eq(0)
        with m.If(port.arvalid & ~port.rvalid):
            m.d.sync += [port.rdata.eq(kept), port.rvalid.eq(1), port.rresp.eq(self.wrong)]
        with m.If(port.rvalid & port.rready):
            m.d.sync += port.rvalid.eq(0)
        return m
