"""The one Amaranth design that every engine runs: master, fabric, an outlet for each model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from amaranth.hdl import Cat, ClockDomain, Const, Elaboratable, Module, Signal
from amaranth.lib import wiring

from busbox.address_map import Slot
from busbox.device import Site
from busbox.fabric import wishbone
from busbox.fabric.fabric import Fabric, address_bits
from busbox.fabric.hardware import Hardware
from busbox.fabric.master import Master
from busbox.fabric.outlet import Outlet
from busbox.fabric.view import View
from busbox.system import FabricOptions, System

#: First bit of the reply in ``inputs``: go, write, 30 address bits, lanes and data come before it.
REPLY = 1 + 1 + wishbone.WORD_ADDRESS_BITS + wishbone.LANES + wishbone.DATA_BITS
#: First bit of the calls in ``status``: done, failed, cut and the word read come before it.
CALLS = 3 + wishbone.DATA_BITS


def hardware_of(system: System) -> dict[int, Hardware]:
    """Build the hardware devices of a system, by the number of their slot."""
    return {
        number: placed.model(
            Site(placed.slot.name, placed.slot.base, placed.slot.size, system.clock_hz),
            **placed.settings,
        )
        for number, placed in enumerate(system.devices)
        if placed.model.in_amaranth
    }


class Design(Elaboratable):
    """Master, fabric and outlets, with everything an engine drives or reads as a signal.

    Attributes
    ----------
    domain : the one clock domain; its ``rst`` is driven by the engine, its ``clk`` too
    inputs : what the engine drives: an access (:meth:`access_word`) and, beside it, the reply of the
        outlet that is called (:meth:`reply_word`); 0 for neither
    status : what the engine reads: done, failed, cut (by the watchdog), the word read, and then a
        bit for each slot whose model is asked in this row (:data:`CALLS` is the first)
    views : slot number to what is seen of the hardware device in it
    seen : slot number to the signal that shows the view's word
    ports : (name, port) of every port: the master's first, then one a slot
    """

    def __init__(
        self,
        slots: Sequence[Slot],
        options: FabricOptions,
        hardware: Mapping[int, Hardware] | None = None,
    ) -> None:
        self.domain = ClockDomain("sync")
        self.rst = self.domain.rst
        self.master = Master()
        self.fabric = Fabric(slots, options)
        self.views = {number: View(device) for number, device in (hardware or {}).items()}
        self.outlets = {
            number: Outlet(address_bits(slot))
            for number, slot in enumerate(slots)
            if number not in self.views
        }
        self.inputs = Signal(REPLY + 2 + wishbone.DATA_BITS)
        self.status = Signal(CALLS + len(slots))
        self.seen = {
            number: Signal(len(view.signals), name=f"seen_{number}")
            for number, view in self.views.items()
        }
        self.ports = [("cpu", self.master.bus)] + [
            (slot.name, self.fabric.port(number)) for number, slot in enumerate(slots)
        ]

    @staticmethod
    def access_word(write: bool, address: int, lanes: int, data: int) -> int:
        """Return the value of ``inputs`` for an access without a reply."""
        return 1 | write << 1 | address >> 2 << 2 | lanes << 32 | data << 36

    @staticmethod
    def reply_word(data: int, refuse: bool) -> int:
        """Return what a reply adds to ``inputs``: ACK with a word, or ERR."""
        return 0b10 << REPLY if refuse else (0b01 | data << 2) << REPLY

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.domains += self.domain
        m.submodules.master = master = self.master
        m.submodules.fabric = fabric = self.fabric
        wiring.connect(m, master.bus, fabric.bus)
        access = Cat(master.go, master.write, master.address, master.lanes, master.data)
        ending = Cat(master.done, master.failed, fabric.cut, master.read)
        calls = Cat(
            self.outlets[number].call if number in self.outlets else Const(0, 1)
            for number in range(len(self.ports) - 1)
        )
        m.d.comb += [access.eq(self.inputs), self.status.eq(Cat(ending, calls))]
        for number, view in self.views.items():
            m.submodules[f"device_{number}"] = view.device
            wiring.connect(m, fabric.port(number), view.device.bus)
            m.d.comb += self.seen[number].eq(view.signals)
        for number, outlet in self.outlets.items():
            m.submodules[f"outlet_{number}"] = outlet
            wiring.connect(m, fabric.port(number), outlet.bus)
            reply = Cat(outlet.ready, outlet.refuse, outlet.answer)
            m.d.comb += reply.eq(self.inputs[REPLY:])
        return m
