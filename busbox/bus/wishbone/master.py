"""The CPU's side of the bus: it drives one access for as long as ``go`` is high.

The steps are in the replay, not here: this component counts nothing, so that a pause leaves the
hardware quiet. ``go`` is high from cycle s to cycle e.
"""

from __future__ import annotations

from typing import Any

from amaranth.hdl import Module, ResetSignal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from busbox.bus import wishbone


class Master(wiring.Component):
    """A Wishbone master without state.

    Members
    -------
    ``go, write`` (in, 1), ``address`` (in, 30: word address), ``lanes`` (in, 4), ``data`` (in, 32):
    the access; ``bus`` (out): the port; ``done, failed`` (out, 1): ACK or ERR in this cycle, and ERR;
    ``read`` (out, 32): the word read, 0 unless a read ends with ACK in this cycle.
    """

    go: Any
    write: Any
    address: Any
    lanes: Any
    data: Any
    done: Any
    failed: Any
    read: Any
    bus: Any

    def __init__(self) -> None:
        super().__init__(
            {
                "go": In(1),
                "write": In(1),
                "address": In(wishbone.WORD_ADDRESS_BITS),
                "lanes": In(wishbone.LANES),
                "data": In(wishbone.DATA_BITS),
                "done": Out(1),
                "failed": Out(1),
                "read": Out(wishbone.DATA_BITS),
                "bus": Out(wishbone.Signature()),
            }
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        bus = self.bus
        # Rule 3.20: STB and CYC are low while RST is high, and in the cycle after (F >= r + L + 1).
        m.d.comb += [
            bus.stb.eq(self.go & ~ResetSignal()),
            bus.cyc.eq(bus.stb),
            bus.we.eq(self.write),
            bus.adr.eq(self.address),
            bus.sel.eq(self.lanes),
            bus.write_data.eq(self.data),
            self.done.eq(bus.stb & (bus.ack | bus.err)),
            self.failed.eq(bus.stb & bus.err),
        ]
        # Rule 3.65: read data means something only in the cycle with the terminator.
        with m.If(bus.stb & bus.ack & ~bus.we):
            m.d.comb += self.read.eq(bus.read_data)
        return m
