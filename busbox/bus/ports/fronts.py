"""The fronts: each turns transfers of another kind of port into accesses of a device of the fabric's
kind.

They are the bridges seen from the other side, and go out with a device that is exported. All have the
form ``front(m, bus, port, word, lead)``: ``bus`` is the port of the device, of the signature of
:mod:`busbox.bus.wishbone`; ``port`` maps roles to signals of the outer port; ``word`` returns the word
address of an address of that port; ``lead``: the device wants the address a cycle before STB.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from amaranth.hdl import Const, Module, Mux, Signal

#: Answers of AXI (IHI 0022E, section A3.4.4).
_OKAY, _ERROR = 0b00, 0b10

Front = Callable[[Module, Any, Mapping[str, Any], Callable[[Any], Any], bool], None]


def _strobe(m: Module, bus: Any, called: Any, lead: bool) -> None:
    """Drive CYC and STB while an access is asked for; with ``lead``, from its second cycle on."""
    if not lead:
        m.d.comb += [bus.cyc.eq(called), bus.stb.eq(called)]
        return
    led = Signal(name="address_led")
    m.d.sync += led.eq(called & ~bus.ack & ~bus.err)
    m.d.comb += [bus.cyc.eq(called & led), bus.stb.eq(called & led)]


def front_wishbone(
    m: Module, bus: Any, port: Mapping[str, Any], word: Callable[[Any], Any], lead: bool
) -> None:
    """Connect a Wishbone port in standard mode.

    Source: Wishbone B4, section 3.1.3.1.
    """
    _strobe(m, bus, port["cyc"] & port["stb"], lead)
    m.d.comb += [
        bus.we.eq(port["we"]),
        bus.adr.eq(word(port["adr"])),
        bus.sel.eq(port["sel"]),
        bus.write_data.eq(port["write_data"]),
        port["read_data"].eq(bus.read_data),
        port["ack"].eq(bus.ack),
        port["err"].eq(bus.err),
    ]


def front_apb(
    m: Module, bus: Any, port: Mapping[str, Any], word: Callable[[Any], Any], lead: bool
) -> None:
    """Answer APB transfers: the access phase is the device's access.

    Source: AMBA APB Protocol Specification, IHI 0024C, chapters 2 and 3.
    """
    _strobe(m, bus, port["psel"] & port["penable"], False)  # setup has led
    m.d.comb += [
        bus.we.eq(port["pwrite"]),
        bus.adr.eq(word(port["paddr"])),
        bus.sel.eq(Mux(port["pwrite"], port["pstrb"], 0b1111)),
        bus.write_data.eq(port["pwdata"]),
        port["prdata"].eq(bus.read_data),
        port["pready"].eq(bus.ack | bus.err),
        port["pslverr"].eq(bus.err),
    ]


def front_strobes(
    m: Module, bus: Any, port: Mapping[str, Any], word: Callable[[Any], Any], lead: bool
) -> None:
    """Answer accesses by plain strobes: select stays high until ready.

    Source: common practice, no source.
    """
    _strobe(m, bus, port["select"], lead)
    m.d.comb += [
        bus.we.eq(port["write"]),
        bus.adr.eq(word(port["address"])),
        bus.sel.eq(Mux(port["write"], port["lanes"], 0b1111)),
        bus.write_data.eq(port["write_data"]),
        port["read_data"].eq(bus.read_data),
        port["ready"].eq(bus.ack | bus.err),
        port["error"].eq(bus.err),
    ]


def front_axi4_lite(
    m: Module, bus: Any, port: Mapping[str, Any], word: Callable[[Any], Any], lead: bool
) -> None:
    """Answer AXI4-Lite transactions: one read and one write may be open; a write goes first.

    Between two accesses STB is low for a cycle. No input reaches an output within a cycle.

    Source: AMBA AXI and ACE Protocol Specification, IHI 0022E, sections A3.2.1 (VALID stays until
    READY; no combinational path), A3.3.1 (BVALID after address and data), B1.1.
    """
    words: dict[str, Any] = {}
    there: dict[str, Any] = {}
    kept = {"aw": ("awaddr",), "w": ("wdata", "wstrb"), "ar": ("araddr",)}
    for channel, names in kept.items():
        there[channel] = Signal(name=f"{channel}_there")
        m.d.comb += port[f"{channel}ready"].eq(~there[channel])
        for name in names:
            words[name] = Signal(len(port[name]), name=f"{name}_kept")
            with m.If(port[f"{channel}valid"] & ~there[channel]):
                m.d.sync += words[name].eq(port[name])
    writing, reading = Signal(name="writing"), Signal(name="reading")
    ended, reads = Signal(name="ended"), Signal(name="read_begun")
    answered = bus.ack | bus.err
    _strobe(m, bus, writing | reading, lead)
    m.d.comb += [
        writing.eq(there["aw"] & there["w"] & ~port["bvalid"] & ~ended & ~reads),
        reading.eq(there["ar"] & ~port["rvalid"] & ~ended & (reads | ~writing)),
        bus.we.eq(writing),
        bus.adr.eq(Mux(writing, word(words["awaddr"]), word(words["araddr"]))),
        bus.sel.eq(Mux(writing, words["wstrb"], 0b1111)),
        bus.write_data.eq(words["wdata"]),
    ]
    m.d.sync += [ended.eq((writing | reading) & answered), reads.eq(reading & ~answered)]
    for channel, over in (("aw", writing), ("w", writing), ("ar", reading)):
        with m.If(port[f"{channel}valid"] & ~there[channel]):
            m.d.sync += there[channel].eq(1)
        with m.Elif(over & answered):
            m.d.sync += there[channel].eq(0)
    for channel, over in (("b", writing), ("r", reading)):
        valid, ready = port[f"{channel}valid"], port[f"{channel}ready"]
        shown = Signal(name=f"{channel}_shown")
        response = Signal(2, name=f"{channel}_response")
        m.d.comb += [valid.eq(shown), port[f"{channel}resp"].eq(response)]
        with m.If(over & answered):
            m.d.sync += [shown.eq(1), response.eq(Mux(bus.err, Const(_ERROR, 2), _OKAY))]
        with m.Elif(ready):
            m.d.sync += shown.eq(0)
    data = Signal(32, name="rdata_kept")
    with m.If(reading & answered):
        m.d.sync += data.eq(bus.read_data)
    m.d.comb += port["rdata"].eq(data)


#: The fronts, by the name of the kind of port.
FRONTS: dict[str, Front] = {
    "wishbone": front_wishbone,
    "apb": front_apb,
    "strobes": front_strobes,
    "axi4-lite": front_axi4_lite,
}
