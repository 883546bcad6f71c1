"""The guard of a hardware device's port: it detects broken rules at the speed of the hardware.

It detects only what a device can break, a terminator without a request or two at once; the fabric
ensures the rest. Which rule is broken, and the message, is left to the rule checker.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from amaranth.hdl import Cat, Module, ResetSignal, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from busbox.bus import wishbone
from busbox.bus.rule import Breach
from busbox.bus.wishbone.rules import RuleChecker, Sample

#: The signals of a port with their widths, in the order of the guard's word; the address comes last.
FIELDS = (
    ("cyc", 1),
    ("stb", 1),
    ("we", 1),
    ("ack", 1),
    ("err", 1),
    ("sel", wishbone.LANES),
    ("write_data", wishbone.DATA_BITS),
    ("read_data", wishbone.DATA_BITS),
)
_FLAGS = ("broken", "called", "rested", "rst")
_IDLE = Sample(rst=0, cyc=0, stb=0, we=0, adr=0, sel=0, write_data=0, read_data=0, ack=0, err=0)


class Guard(wiring.Component):
    """Watches one port.

    Members
    -------
    ``cyc`` to ``read_data``, ``adr`` (in): the port's signals; ``cut`` (in, 1): the watchdog ends an
    access in the place of the device; ``seen`` (out): bit 0 is high in a cycle in which the device
    breaks a rule; the other bits are what :func:`breaches` needs.
    """

    cyc: Any
    stb: Any
    ack: Any
    err: Any
    adr: Any
    cut: Any
    seen: Any

    def __init__(self, address_bits: int) -> None:
        width = len(_FLAGS) + sum(width for _, width in FIELDS) + address_bits
        members = {name: In(width) for name, width in FIELDS}
        super().__init__({**members, "adr": In(address_bits), "cut": In(1), "seen": Out(width)})

    def follow(self, port: Any) -> Iterator[Any]:
        """Yield the assignments that connect it to a port."""
        for name in (*(name for name, _ in FIELDS), "adr"):
            yield getattr(self, name).eq(getattr(port, name))

    def elaborate(self, platform: object) -> Module:
        m = Module()
        rst, request, ended = ResetSignal(), Signal(), Signal()
        err, called, rested = Signal(), Signal(), Signal(reset_less=True)
        broken = Signal()
        m.d.comb += [
            err.eq(self.err | (self.stb & self.cut)),
            request.eq(self.cyc & self.stb),
            ended.eq(self.ack | err),
            broken.eq((ended & ~request) | (self.ack & err)),
        ]
        m.d.sync += [called.eq(request | (ended & called)), rested.eq(rst)]
        shown = {name: getattr(self, name) for name, _ in FIELDS} | {"err": err}
        m.d.comb += self.seen.eq(Cat(broken, called, rested, rst, *shown.values(), self.adr))
        return m


def breaches(port: str, cycle: int, seen: int) -> tuple[Breach, ...]:
    """Return the rule checker's breaches for a cycle in which the guard detected a broken rule.

    Parameters
    ----------
    port : name of the port
    cycle : number of the cycle
    seen : the guard's word in it
    """
    values = {}
    for name, width in (*((flag, 1) for flag in _FLAGS), *FIELDS):
        values[name] = seen & (1 << width) - 1
        seen >>= width
    del values["broken"]
    checker = RuleChecker(port, first_cycle=cycle - 1)
    called, rested = values.pop("called"), values.pop("rested")
    # The cycle before, as far as it matters: at rest after a reset, or with a request that was
    # answered.
    checker.take(replace(_IDLE, rst=rested, cyc=called, stb=called, ack=called))
    return checker.take(Sample(adr=seen, **values))
