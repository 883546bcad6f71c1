"""The bridges: each turns accesses of the fabric into transfers of another kind of port.

All of them have the form ``bridge(m, bus, port, late)``: ``bus`` is the fabric's port, seen from the
device; ``port`` maps the roles that the device has to signals. They return the word address of the
transfer, which the caller connects, as words or as bytes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from amaranth.hdl import Cat, Module, Mux, ResetSignal, Signal


class Request:
    """An access, held until its transfer is over, even if the fabric has abandoned it.

    Attributes
    ----------
    active : a transfer is under way in this cycle
    begun : it was under way in the cycle before, too
    write, adr, sel, write_data : what is transferred
    whole : all four lanes are selected, or it is a read
    """

    def __init__(self, m: Module, bus: Any) -> None:
        self._m, self._bus = m, bus
        live = Cat(bus.we, bus.sel, bus.write_data, bus.adr)
        kept, shown = Signal(len(live), name="request_kept"), Signal(len(live), name="request")
        self.begun, self._given_up = Signal(name="begun"), Signal(name="given_up")
        self._called = bus.cyc & bus.stb & ~ResetSignal()
        self.active = Signal(name="active")
        m.d.comb += shown.eq(Mux(self.begun, kept, live))
        m.d.sync += kept.eq(shown)
        self.write, self.sel, self.write_data, self.adr = (
            shown[0], shown[1:5], shown[5:37], shown[37:]
        )  # fmt: skip
        self.whole = ~self.write | self.sel.all()

    def transfer(self, done: Any, error: Any, refused: Any = 0) -> None:
        """Build the request.

        Parameters
        ----------
        done : the transfer is over in this cycle
        error : if it is: with an error
        refused : what is asked for cannot be transferred: it is answered with ERR at once
        """
        m, bus = self._m, self._bus
        fresh = self._called & ~self.begun
        answered = done & self.active & self._called & ~self._given_up
        m.d.comb += [
            self.active.eq((self.begun | fresh & ~refused) & ~ResetSignal()),
            bus.ack.eq(answered & ~error),
            bus.err.eq(answered & error | fresh & refused),
        ]
        m.d.sync += [
            self.begun.eq(self.active & ~done),
            self._given_up.eq(self.begun & ~done & (self._given_up | ~self._called)),
        ]


def bridge_wishbone(m: Module, bus: Any, port: Mapping[str, Any], late: bool) -> Any:
    """Connect a Wishbone port; with STALL it is a pipelined one.

    Source: Wishbone B4, sections 3.1.3.1 (standard mode) and 3.1.3.2 (pipelined mode: a request is
    over in the first cycle without STALL).
    """
    m.d.comb += [
        port["cyc"].eq(bus.cyc),
        port["we"].eq(bus.we),
        port["write_data"].eq(bus.write_data),
        bus.read_data.eq(port["read_data"]),
    ]
    if "sel" in port:
        m.d.comb += port["sel"].eq(bus.sel)
    partial = 0 if "sel" in port else bus.we & ~bus.sel.all()
    request = bus.stb & ~partial
    error = port.get("err", 0)
    if "stall" not in port:
        m.d.comb += port["stb"].eq(request)
    else:
        sent = Signal()
        m.d.comb += port["stb"].eq(request & ~sent)
        m.d.sync += sent.eq(
            request & bus.cyc & (sent | ~port["stall"]) & ~port["ack"] & ~error & ~ResetSignal()
        )
    m.d.comb += [bus.ack.eq(port["ack"]), bus.err.eq(error | bus.cyc & bus.stb & partial)]
    return bus.adr


def bridge_apb(m: Module, bus: Any, port: Mapping[str, Any], late: bool) -> Any:
    """Connect an APB port: a cycle of setup, then access until PREADY.

    Source: AMBA APB Protocol Specification, IHI 0024C, sections 3.1 to 3.4 (write, strobes,
    read, error) and 4.1 (operating states), numbers from memory. PSTRB is low in a read (3.2).
    """
    request = Request(m, bus)
    ready = port.get("pready", 1)
    m.d.comb += [
        port["psel"].eq(request.active),
        port["penable"].eq(request.active & request.begun),
        port["pwrite"].eq(request.write),
        port["pwdata"].eq(request.write_data),
        bus.read_data.eq(port["prdata"]),
    ]
    if "pstrb" in port:
        m.d.comb += port["pstrb"].eq(Mux(request.write, request.sel, 0))
    refused = 0 if "pstrb" in port else ~request.whole
    request.transfer(request.begun & ready, port.get("pslverr", 0), refused)
    return request.adr


def bridge_axi4_lite(m: Module, bus: Any, port: Mapping[str, Any], late: bool) -> Any:
    """Connect an AXI4-Lite port: one transaction at a time.

    VALID stays high until READY; the answer is taken once address and data are handed over.
    Source: AMBA AXI and ACE Protocol Specification, IHI 0022E, sections A3.1.2 (reset), A3.2
    (handshake), A3.3 (dependencies), A3.4.4 (responses: SLVERR and DECERR have bit 1 high), B1.1
    (AXI4-Lite).
    """
    request = Request(m, bus)
    sent = {}
    for channel in ("aw", "w", "ar"):
        sent[channel] = Signal(name=f"{channel}_sent")
        chosen = ~request.write if channel == "ar" else request.write
        valid = request.active & chosen & ~sent[channel]
        m.d.comb += port[f"{channel}valid"].eq(valid)
    writes, reads = sent["aw"] & sent["w"], sent["ar"]
    m.d.comb += [
        port["bready"].eq(request.active & writes),
        port["rready"].eq(request.active & reads),
        port["wdata"].eq(request.write_data),
        port["wstrb"].eq(request.sel),
        bus.read_data.eq(port["rdata"]),
    ]
    done = writes & port["bvalid"] | reads & port["rvalid"]
    error = Mux(request.write, port["bresp"][1], port["rresp"][1])
    for channel, taken in sent.items():
        valid, ready = port[f"{channel}valid"], port[f"{channel}ready"]
        m.d.sync += taken.eq(request.active & ~done & (taken | valid & ready))
    request.transfer(done, error)
    return request.adr


def bridge_strobes(m: Module, bus: Any, port: Mapping[str, Any], late: bool) -> Any:
    """Connect a port of plain strobes: select, write, address, data, and ready if the device has it.

    Without ready an access is over in its first cycle. ``late``: read data comes a cycle after that.
    Source: common practice, no source.
    """
    request = Request(m, bus)
    waits = Signal(name="data_awaited")
    select = request.active & ~waits
    taken = select & port["ready"] if "ready" in port else select
    m.d.comb += [
        port["write"].eq(select & request.write),
        port["write_data"].eq(request.write_data),
        bus.read_data.eq(port["read_data"]),
    ]
    for name, level in (("select", select), ("read", select & ~request.write)):
        if name in port:
            m.d.comb += port[name].eq(level)
    if "lanes" in port:
        m.d.comb += port["lanes"].eq(request.sel)
    refused = 0 if "lanes" in port else ~request.whole
    error = port.get("error", 0)
    if late:
        m.d.sync += waits.eq(taken & ~request.write)
        request.transfer(Mux(request.write, taken, waits), error, refused)
    else:
        request.transfer(taken, error, refused)
    return request.adr
