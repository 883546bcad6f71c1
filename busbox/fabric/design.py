"""The one Amaranth design that every engine runs: master, fabric, an outlet for each model."""

from __future__ import annotations

from collections.abc import Sequence

from amaranth.hdl import Cat, ClockDomain, Elaboratable, Module, Signal
from amaranth.lib import wiring

from busbox.address_map import Slot
from busbox.fabric import wishbone
from busbox.fabric.fabric import Fabric, address_bits
from busbox.fabric.master import Master
from busbox.fabric.outlet import Outlet
from busbox.system import FabricOptions


class Design(Elaboratable):
    """Master, fabric and outlets, with everything an engine drives or reads as a signal.

    Attributes
    ----------
    clk, rst : the one clock and its synchronous reset (driven by the engine)
    command : go, write, word address, lanes and data of the access, least significant first (driven)
    reply : ready, refuse and answer for the outlet whose call is high (driven)
    calls : bit n = the outlet of slot n is asked in this row (read)
    ending : done, failed, cut (by the watchdog), and the word read (read)
    ports : (name, port) of every port: the master's first, then one a slot
    """

    def __init__(self, slots: Sequence[Slot], options: FabricOptions) -> None:
        self.domain = ClockDomain("sync")
        self.clk, self.rst = self.domain.clk, self.domain.rst
        self.master = Master()
        self.fabric = Fabric(slots, options)
        self.outlets = [Outlet(address_bits(slot)) for slot in slots]
        self.command = Signal(1 + 1 + wishbone.WORD_ADDRESS_BITS + wishbone.LANES + 32)
        self.reply = Signal(2 + 32)
        self.calls = Signal(len(self.outlets))
        self.ending = Signal(3 + 32)
        self.ports = [("cpu", self.master.bus)] + [
            (slot.name, self.fabric.port(number)) for number, slot in enumerate(slots)
        ]

    @staticmethod
    def pack_command(write: bool, address: int, lanes: int, data: int) -> int:
        """Return the value of ``command`` for an access; 0 is "no access"."""
        return 1 | write << 1 | address >> 2 << 2 | lanes << 32 | data << 36

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.domains += self.domain
        m.submodules.master = master = self.master
        m.submodules.fabric = fabric = self.fabric
        wiring.connect(m, master.bus, fabric.bus)
        m.d.comb += [
            Cat(master.go, master.write, master.address, master.lanes, master.data).eq(
                self.command
            ),
            self.ending.eq(Cat(master.done, master.failed, fabric.cut, master.read)),
        ]
        for number, outlet in enumerate(self.outlets):
            m.submodules[f"outlet_{number}"] = outlet
            wiring.connect(m, fabric.port(number), outlet.bus)
            m.d.comb += [
                Cat(outlet.ready, outlet.refuse, outlet.answer).eq(self.reply),
                self.calls[number].eq(outlet.call),
            ]
        return m
