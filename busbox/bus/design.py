"""The Amaranth design that every engine runs: master, fabric, an outlet for each model."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from amaranth.hdl import Cat, ClockDomain, Elaboratable, Module, Mux, Signal
from amaranth.lib import wiring

from busbox.basics.errors import InputError, format_value
from busbox.bus import wishbone
from busbox.bus.hardware import Hardware
from busbox.bus.view import View
from busbox.bus.wishbone.fabric import Fabric, address_bits, any_of
from busbox.bus.wishbone.guard import Guard
from busbox.bus.wishbone.master import Master
from busbox.bus.wishbone.outlet import Outlet
from busbox.map.slots import Slot
from busbox.system.hardware import FabricOptions

#: Bits of ``request``: go, write, 30 address bits, lanes.
REQUEST = 1 + 1 + wishbone.WORD_ADDRESS_BITS + wishbone.LANES
#: First bit of the call in ``status``: done, failed, cut and the word read come before it.
CALL = 3 + wishbone.DATA_BITS


class Design(Elaboratable):
    """Master, fabric and outlets; everything that an engine drives or reads is a signal.

    Attributes
    ----------
    domain : the one clock domain; its ``rst`` is driven by the engine, its ``clk`` too
    request, data : what the engine drives: an access (:meth:`request_word`) and the word that it
        writes; 0 for none
    reply : the reply of the outlet that is called (:meth:`reply_word`); 0 for none
    status : what the engine reads: done, failed, cut (by the watchdog), the word read, and, from bit
        :data:`CALL` on, 1 + the number of the slot whose model is asked in this cycle, or 0
    inner : word address inside the slot whose model is asked
    resting : every hardware device is at rest
    devices : slot number to the hardware device in it
    views : slot number to what is seen of that
    seen : slot number to the signal that shows the view's word
    guards : slot number to the guard of the hardware device's port
    ports : (name, port) of every port: the master's first, then one a slot
    """

    def __init__(
        self,
        slots: Sequence[Slot],
        options: FabricOptions,
        hardware: Mapping[int, Hardware] | None = None,
        settable: bool = False,
    ) -> None:
        self.domain = ClockDomain("sync")
        self.rst = self.domain.rst
        self.master = Master()
        self.fabric = Fabric(slots, options, settable)
        self.devices = dict(hardware or {})
        self.views = {
            number: View(type(device), device.options) for number, device in self.devices.items()
        }
        self.outlets = {
            number: Outlet(address_bits(slot))
            for number, slot in enumerate(slots)
            if number not in self.views
        }
        self.request = Signal(REQUEST)
        self.data = Signal(wishbone.DATA_BITS)
        self.reply = Signal(2 + wishbone.DATA_BITS)
        self.status = Signal(CALL + len(slots).bit_length())
        self.inner = Signal(wishbone.WORD_ADDRESS_BITS)
        self.resting = Signal()
        self.seen = {
            number: Signal(view.width, name=f"seen_{number}") for number, view in self.views.items()
        }
        self.guards = {number: Guard(address_bits(slots[number])) for number in self.views}
        self.ports = [("cpu", self.master.bus)] + [
            (slot.name, self.fabric.port(number)) for number, slot in enumerate(slots)
        ]

    @staticmethod
    def request_word(write: bool, address: int, lanes: int) -> int:
        """Return the value of ``request`` for an access."""
        return 1 | write << 1 | address >> 2 << 2 | lanes << 32

    @staticmethod
    def reply_word(data: int, refuse: bool) -> int:
        """Return the value of ``reply``: ACK with a word, or ERR."""
        return 0b10 if refuse else 0b01 | data << 2

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.domains += self.domain
        m.submodules.master = master = self.master
        m.submodules.fabric = fabric = self.fabric
        wiring.connect(m, master.bus, fabric.bus)
        ending = Cat(master.done, master.failed, fabric.cut, master.read)
        outlets = self.outlets.items()
        caller = any_of([Mux(outlet.call, number + 1, 0) for number, outlet in outlets])
        inner = any_of([Mux(outlet.call, outlet.bus.adr, 0) for _, outlet in outlets])
        m.d.comb += [
            Cat(master.go, master.write, master.address, master.lanes).eq(self.request),
            master.data.eq(self.data),
            self.status.eq(Cat(ending, caller)),
            self.inner.eq(inner),
            self.resting.eq(Cat(device.at_rest for device in self.devices.values()).all()),
        ]
        for number, device in self.devices.items():
            m.submodules[f"slot_{self.ports[number + 1][0]}"] = device
            wiring.connect(m, fabric.port(number), device.bus)
            m.submodules[f"guard_{number}"] = guard = self.guards[number]
            m.d.comb += [
                self.seen[number].eq(self.views[number].signals(device)),
                *guard.follow(fabric.port(number)),
                guard.cut.eq(fabric.cut),
            ]
        for number, outlet in outlets:
            m.submodules[f"outlet_{number}"] = outlet
            wiring.connect(m, fabric.port(number), outlet.bus)
            m.d.comb += Cat(outlet.ready, outlet.refuse, outlet.answer).eq(self.reply)
        return m


def check_bus(name: str, found: Any) -> None:
    """Refuse an object that is not a bus: a design with the attributes of :class:`Design`.

    Raises
    ------
    InputError : it is not a subclass of Design
    """
    if not isinstance(found, type) or not issubclass(found, Design):
        raise InputError.of(
            f"{name!r} must be a subclass of Design (busbox.bus.design), not {format_value(found)}"
        )
