"""The way out of the fabric to a model in Python.

An outlet is a slot's port whose answers come from outside: while ``call`` is high, the engine asks
the model, sets ``ready`` (or ``refuse``) and ``answer``, and lets the signals settle again. ``call``
depends on none of the three.
"""

from __future__ import annotations

from typing import Any

from amaranth.hdl import Module
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from busbox.bus import wishbone


class Outlet(wiring.Component):
    """A slot's port, answered from outside.

    Members
    -------
    ``bus`` (in): the port; ``call`` (out, 1): an access may end in this cycle; ``ready`` (in, 1): it
    does, with ACK; ``refuse`` (in, 1): it does, with ERR; ``answer`` (in, 32): the word read.
    """

    bus: Any
    call: Any
    ready: Any
    refuse: Any
    answer: Any

    def __init__(self, address_bits: int) -> None:
        super().__init__(
            {
                "bus": In(wishbone.Signature(address_bits)),
                "call": Out(1),
                "ready": In(1),
                "refuse": In(1),
                "answer": In(wishbone.DATA_BITS),
            }
        )

    def elaborate(self, platform: object) -> Module:
        m = Module()
        bus = self.bus
        m.d.comb += [
            self.call.eq(bus.cyc & bus.stb),
            bus.ack.eq(self.call & self.ready & ~self.refuse),
            bus.err.eq(self.call & self.refuse),
            bus.read_data.eq(self.answer),
        ]
        return m
