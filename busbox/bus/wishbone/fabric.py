"""The fabric: decoder, wait states, response multiplexer, error responder and watchdog, all flat."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce
from operator import or_
from typing import Any

from amaranth.hdl import Cat, Const, Module, Mux, ResetSignal, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from busbox.bus import wishbone
from busbox.bus.identity import fabric_levels, most_waited
from busbox.map.slots import Slot
from busbox.system.hardware import FabricOptions

#: Bits of a number of wait states.
WAIT_BITS = 16


def address_bits(slot: Slot) -> int:
    """Return the word-address bits that a slot's device sees."""
    return max(0, slot.inner_bits - 2)


class Fabric(wiring.Component):
    """One master port, one port for each slot.

    Members
    -------
    ``bus`` (in): the master's port; ``slot_0``, ``slot_1`` ... (out): the slots' ports, each with the
    address bits inside the slot; ``cut`` (out, 1): the watchdog ends an access in this cycle. If it is
    ``settable``: ``base_0``, ``wait_0`` ... (in): word address and wait states of each slot, and
    ``most`` (in): the largest number of cycles that matters, as
    :func:`busbox.bus.identity.fabric_levels` gives them.

    Timing
    ------
    Semantics page, rules 4 to 7. One counter counts the cycles for which STB has waited; it stops at
    the largest number that matters, so that an access that waits for ever leaves the fabric quiet.
    """

    bus: Any
    cut: Any
    most: Any

    def __init__(
        self, slots: Sequence[Slot], options: FabricOptions, settable: bool = False
    ) -> None:
        self.slots = tuple(slots)
        self.options = options
        self.settable = settable
        ports: dict[str, Any] = {
            f"slot_{number}": Out(wishbone.Signature(address_bits(slot)))
            for number, slot in enumerate(self.slots)
        }
        if settable:
            for number in range(len(self.slots)):
                ports[f"base_{number}"] = In(wishbone.WORD_ADDRESS_BITS)
                ports[f"wait_{number}"] = In(WAIT_BITS)
            ports["most"] = In(self._bits)
        super().__init__({"bus": In(wishbone.Signature()), "cut": Out(1), **ports})

    @property
    def levels(self) -> tuple[str, ...]:
        """The names of the inputs that make a settable fabric that of some slots."""
        return tuple(fabric_levels(self.slots, self.options)) if self.settable else ()

    @property
    def _bits(self) -> int:
        """Bits of the counter of a settable fabric."""
        return max((1 << WAIT_BITS) + 1, self.options.watchdog or 0).bit_length()

    def _base(self, number: int) -> Any:
        return getattr(self, f"base_{number}") if self.settable else self.slots[number].base >> 2

    def _wait(self, number: int) -> Any:
        return getattr(self, f"wait_{number}") if self.settable else self.slots[number].wait

    def port(self, number: int) -> Any:
        """Return the port of a slot."""
        return getattr(self, f"slot_{number}")

    def elaborate(self, platform: object) -> Module:
        m = Module()
        bus, options = self.bus, self.options
        request = Signal()
        m.d.comb += request.eq(bus.cyc & bus.stb & ~ResetSignal())
        ended = Signal()
        m.d.comb += ended.eq(bus.ack | bus.err)
        hits, valid = self._decode(m, request, ended)
        waited = self._count(m, request, ended)

        acks, errors, words = [], [], []
        extra = int(options.registered_decode)
        for number, slot in enumerate(self.slots):
            port, chosen = self.port(number), Signal(name=f"chosen_{number}")
            m.d.comb += [
                chosen.eq(request & valid & hits[number] & (waited >= self._wait(number) + extra)),
                port.cyc.eq(chosen),
                port.stb.eq(chosen),
                port.we.eq(bus.we),
                port.adr.eq(_inner_address(slot, self._base(number), bus.adr)),
                port.sel.eq(bus.sel),
                port.write_data.eq(bus.write_data),
            ]
            acks.append(chosen & port.ack)
            errors.append(chosen & port.err)
            words.append(Mux(chosen, port.read_data, 0))

        unmapped = Signal()
        if options.unanswered == "error":
            m.d.comb += unmapped.eq(request & valid & ~hits.any() & (waited >= 1 + extra))
        answered = Signal()
        m.d.comb += answered.eq(Cat(*acks, *errors).any() | unmapped)
        if options.watchdog is not None:
            m.d.comb += self.cut.eq(request & (waited >= options.watchdog) & ~answered)
        m.d.comb += [
            bus.ack.eq(Cat(*acks).any()),
            bus.err.eq(Cat(*errors).any() | unmapped | self.cut),
            bus.read_data.eq(any_of(words)),
        ]
        return m

    def _decode(self, m: Module, request: Signal, ended: Signal) -> tuple[Signal, Signal]:
        """Return which slot's address is on the bus, and whether that is known in this cycle."""
        count = len(self.slots)
        matches = Signal(count)
        found = [
            _match(slot, self._base(number), self.bus.adr) for number, slot in enumerate(self.slots)
        ]
        m.d.comb += matches.eq(Cat(found))
        names = [slot.name for slot in self.slots]
        hits = Signal(count)
        for number, slot in enumerate(self.slots):
            winners = [matches[names.index(name)] for name in slot.yields_to]
            m.d.comb += hits[number].eq(matches[number] & ~Cat(*winners).any())
        valid = Signal()
        if not self.options.registered_decode:
            m.d.comb += valid.eq(1)
            return hits, valid
        kept = Signal(count)
        m.d.sync += [kept.eq(hits), valid.eq(request & ~ended)]
        return kept, valid

    def _count(self, m: Module, request: Signal, ended: Signal) -> Signal:
        """Return for how many cycles the access has waited, up to the largest number of interest."""
        if self.settable:
            most, waited = self.most, Signal(self._bits)
        else:
            most = most_waited(self.slots, self.options)
            waited = Signal(range(most + 1))
        with m.If(~request | ended):
            m.d.sync += waited.eq(0)
        with m.Elif(waited != most):
            m.d.sync += waited.eq(waited + 1)
        return waited


def _match(slot: Slot, base: Any, address: Any) -> Any:
    """Return whether the word address is one of the slot's (ignoring ``yields_to``)."""
    if slot.decode == "range":
        return (address >= base) & (address < base + (slot.size >> 2))
    (term,) = slot.terms
    bits = [bit - 2 for bit in range(2, 32) if term.mask >> bit & 1]
    if isinstance(base, int):
        value: Any = sum((base >> bit & 1) << place for place, bit in enumerate(bits))
    else:
        value = Cat(*(base[bit] for bit in bits))
    return Cat(*(address[bit] for bit in bits)) == value


def _inner_address(slot: Slot, base: Any, address: Any) -> Any:
    bits = address_bits(slot)
    if slot.decode == "range":
        return (address - base)[:bits]
    return address[:bits]


def any_of(words: Sequence[Any]) -> Any:
    """Return the words or-ed together: at most one of them is not 0.

    They are or-ed in pairs, and the pairs in pairs: an expression as deep as there are words would
    exceed Python's depth of calls with a few hundred slots.
    """
    level = list(words) or [Const(0)]
    while len(level) > 1:
        level = [reduce(or_, level[at : at + 2]) for at in range(0, len(level), 2)]
    return level[0]
