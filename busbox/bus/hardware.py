"""Devices written in Amaranth: their contract, and the register logic that comes with it.

Contract
========
1. A hardware device is a subclass of :class:`Hardware`, built as ``Class(site, **settings)``. Settings,
   registers and pins are declared as a model declares them; a twin shares its model's declaration.
2. It lives in the one clock domain ``sync``, whose reset is synchronous; contents of memories stay.
3. ``bus`` is a Wishbone B4 classic port with the address bits of the slot. STB is high only in
   cycles in which the access may end here; the address, lanes and data are on the port from the
   cycle in which the access is raised. The device ends it with ACK or ERR in a cycle e that it
   chooses.
4. Standard timing (semantics page, rules 1 to 3): read data shows cycle e; a write, and any side
   effect of a read, shows from e + 1. Where the hardware sets a bit that a write clears in the same
   cycle, the set wins.
5. Pins: the pin ``NAME`` is the member ``pin_NAME``, the pin ``NAME.3`` bit 3 of it. An output whose
   :class:`busbox.device.Pin` has ``released`` also has ``pin_NAME_enable`` of the same width: low
   where the pin is released. An access never affects a pin in the cycle in which it ends; nor may
   an input affect a pin that drives a wire in the same cycle (``engines/paths.py`` refuses it).
6. ``at_rest`` (out, 1 if not driven) is high in every cycle in which the device is at rest.
7. ``watch_data`` shows the register at word address ``watch_adr`` as a read in this cycle would,
   without a side effect. Unconnected, it costs nothing in a chip.
8. Where a model reports events and text, hardware drives notes, the members ``note_NAME`` listed in
   ``note_widths``: in a cycle with ``notes_valid`` high, their values go to the device's
   :class:`NoteReader`, which is Python. They serve the simulation only: unconnected, they cost nothing
   in a chip.
9. In a cycle: changes of pins come first, then the access that ends, then the notes.
10. Registers and memories that hold anything after a reset are named by ``undefined_for``. The device
    gives their bits ``undefined_level``, 0 in a run. A second run with 1 (``with_ones``) shows whether
    one reaches the bus or a pin (``busbox explain undefined-value``).

:class:`Hardware` builds the whole bus side (lanes, access types, read multiplexer, acknowledge,
watch port) from the declaration, so that a device adds only its own logic, in ``build``::

    class BellHardware(BellRegisters, Hardware):
        def build(self, m, registers):
            left = Signal(16)
            strike = registers.STRIKE
            with m.If(left):
                m.d.sync += left.eq(left - 1)
            with m.Elif(strike.written):
                m.d.sync += left.eq(strike.after)
            registers.STATUS.show(left.any())
            m.d.comb += [self.pin_hammer.eq(left.any()), self.at_rest.eq(~left.any())]
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, ClassVar, Literal

from amaranth.hdl import Cat, Const, Module, Mux, Signal, unsigned
from amaranth.lib import memory, wiring
from amaranth.lib.wiring import In, Out

from busbox.basics.declaring import known
from busbox.basics.errors import ModelError
from busbox.bus import wishbone
from busbox.device import NO_ACCESS, BusAccess, Declaration, Host, Site
from busbox.device.pins import pin_groups
from busbox.map.registers import Place, Register, RegisterTable


class UnknownNameError(ModelError, AttributeError):
    """A device in Amaranth names a register, a signal or a pin that it does not have."""


class Hardware(Declaration, wiring.Component):
    """A device in Amaranth. See the contract in the module's docstring.

    A subclass defines ``build(m, registers)``. Members of the component: ``bus``, ``watch_adr``,
    ``watch_data``, ``at_rest``, ``notes_valid``, ``note_NAME``, ``pin_NAME``, ``pin_NAME_enable``.

    Parameters
    ----------
    site : where it is built
    settings : every declared setting

    Attributes
    ----------
    declared : its :class:`busbox.map.registers.RegisterTable`
    groups : member of pins to its :class:`busbox.device.Pin` objects
    least_wait : minimum number of wait states of its slot
    listed : whether its registers are few enough to be listed
    note_reader : class that turns its notes into events and text
    undefined_level : level of its undefined bits
    """

    in_amaranth = True
    least_wait: ClassVar[int] = 0
    listed: ClassVar[bool] = True
    note_reader: ClassVar[type[NoteReader]]
    undefined_level: ClassVar[int] = 0
    _with_ones: ClassVar[type[Hardware]]

    bus: Any
    watch_adr: Any
    watch_data: Any
    at_rest: Any
    notes_valid: Any

    def __init__(self, site: Site, **settings: Any) -> None:
        self.site = site
        self.options = settings
        resets = self.resets_for(settings, site.clock_hz)
        self.declared: RegisterTable = self.table_for(settings, site.size).with_resets(resets)
        self.groups = pin_groups(self.pins_for(settings))
        bits = max(0, (site.size - 1).bit_length() - 2)
        members: dict[str, Any] = {
            "bus": In(wishbone.Signature(bits)),
            "watch_adr": In(bits),
            "watch_data": Out(wishbone.DATA_BITS),
            "at_rest": Out(1, init=1),
            "notes_valid": Out(1),
        }
        for stem, group in self.groups.items():
            levels = sum(pin.level << place for place, pin in enumerate(group))
            flow = Out if group[0].direction == "output" else In
            members[f"pin_{stem}"] = flow(len(group), init=levels)
            if group[0].released:
                members[f"pin_{stem}_enable"] = Out(len(group))
        for name, width in self.note_widths(settings).items():
            members[f"note_{name}"] = Out(width)
        super().__init__(members)

    def __getattr__(self, name: str) -> Any:
        if name.startswith("pin_"):
            pins = [f"pin_{stem}" for stem in self.__dict__.get("groups", ())]
            raise UnknownNameError(f"{type(self).__name__} has no {name!r}{known(name, pins)}")
        raise AttributeError(f"{type(self).__name__!r} object has no attribute {name!r}")

    @classmethod
    def note_widths(cls, settings: Mapping[str, Any]) -> dict[str, int]:
        """Return the width in bits of each note, by name; empty for a device without notes."""
        return {}

    @classmethod
    def notes_for(cls, settings: Mapping[str, Any]) -> tuple[str, ...]:
        """Return what a reader of a run should know of the device, one sentence each without a stop."""
        return ()

    @classmethod
    def undefined_for(cls, settings: Mapping[str, Any]) -> tuple[str, ...]:
        """Return the names of what holds undefined bits: registers and memories that nothing sets."""
        return ()

    @classmethod
    def with_ones(cls) -> type[Hardware]:
        """Return the same hardware with all undefined bits 1; the same class in every call."""
        if "_with_ones" not in cls.__dict__:
            same = {"__doc__": cls.__doc__, "__module__": cls.__module__, "undefined_level": 1}
            cls._with_ones = type(cls.__name__, (cls,), same)
        return cls._with_ones

    def build(self, m: Module, registers: Registers) -> None:
        """Add the device's own logic."""
        raise NotImplementedError

    def elaborate(self, platform: object) -> Module:
        m = Module()
        registers = Registers(self, m)
        self.build(m, registers)
        registers.finish()
        return m


class NoteReader:
    """Turns the notes of a hardware device into events and text. A subclass overrides what it needs.

    Parameters
    ----------
    host : takes the events and characters
    settings : of the device

    Attributes
    ----------
    needed_accesses : which accesses it needs: ``every``; or, between two changes of pins or notes, only
        the ``last`` one, or the ``last write``
    """

    needed_accesses: ClassVar[Literal["every", "last", "last write"]] = "every"

    def __init__(self, host: Host, **settings: Any) -> None:
        self.host = host
        self.options = settings

    def access(self, access: BusAccess) -> None:
        """Take an access that the device has ended in ``access.cycle``."""

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Take the notes of a cycle in which ``notes_valid`` is high."""

    def cause(self, pin: str, cycle: int) -> int:
        """Return the number of the access that caused an edge in cycle ``cycle``, if it is known."""
        return NO_ACCESS

    def reset(self, cycle: int, length: int) -> None:
        """Take a reset, high in the cycles ``cycle`` to ``cycle + length - 1``."""


Hardware.note_reader = NoteReader


#: What a device's own logic takes from a register.
_SIGNALS = ("value", "written", "after", "ones", "taken", "sets")


class Cell:
    """One register of a device, with the signals its logic needs.

    Attributes
    ----------
    value : the bits stored (access ``rw``, ``wo``, ``ones_clear``), 0 where nothing is stored. What the
        device's own logic assigns to it takes precedence over a write by the bus.
    written : an effective write ends in this cycle
    after : the word that it stores; otherwise ``value``
    ones : the bits that it writes as 1 in selected lanes (``ones_act``, ``ones_clear``); otherwise 0
    taken : an effective read ends in this cycle
    sets : bits to set at the end of this cycle; a set wins over a clear (only where bits are stored)
    """

    def __init__(self, place: Place, reset: int) -> None:
        register, name = place.register, place.name.replace(".", "_")
        self.register = register
        self.stores = register.mask("rw", "wo")
        self.clears = register.mask("ones_clear")
        self.readable = register.mask("rw", "ro", "ones_clear")
        self.acts = register.mask("rw", "wo", "ones_clear", "ones_act")
        width = register.mask().bit_length()
        self.value = Signal(width, name=f"{name}_value", init=reset & (self.stores | self.clears))
        if self.stores | self.clears:
            self.sets = Signal(width, name=f"{name}_sets")
        self.after = Signal(width, name=f"{name}_after")
        self.ones = Signal(width, name=f"{name}_ones")
        self.written = Signal(name=f"{name}_written")
        self.taken = Signal(name=f"{name}_taken")
        self.shown: Any = self.value

    def __getattr__(self, name: str) -> Any:
        if "register" not in self.__dict__:  # it is being copied
            raise AttributeError(name)
        signals = [one for one in self.__dict__ if one in _SIGNALS]
        raise UnknownNameError(
            f"register {self.register.name} has no {name!r}{known(name, signals)}"
        )

    def show(self, word: Any) -> None:
        """Let a read show ``word`` (bits that cannot be read show 0) instead of ``value``."""
        self.shown = word


class Registers:
    """The register part of a device: ``registers.COUNT`` is a :class:`Cell`.

    An array of registers that keeps its contents over a reset is a memory: :meth:`memory`. Any other
    array is a list of cells.
    """

    def __init__(self, device: Hardware, m: Module) -> None:
        self._device, self._m, self._watch = device, m, Module()
        self._words: list[tuple[Any, Any, Any]] = []
        self._cells: dict[str, Cell | list[Cell]] = {}
        self._memories: dict[str, memory.Memory] = {}
        bus = device.bus
        self.hold = Signal()
        self.refuse = Signal()
        self._write, self._read = Signal(), Signal()
        self._lanes = Cat(bit.replicate(8) for bit in bus.sel)
        called = bus.cyc & bus.stb & ~self.hold
        m.d.comb += [
            bus.ack.eq(called & ~self.refuse),
            bus.err.eq(called & self.refuse),
            self._write.eq(bus.ack & bus.we & bus.sel.any()),
            self._read.eq(bus.ack & ~bus.we),
        ]
        for register in device.declared:
            if register.count and register.kept:
                self._add_memory(register)
                continue
            cells = [
                self._add_cell(Place(register, index)) for index in range(max(1, register.count))
            ]
            self._cells[register.name] = cells if register.count else cells[0]

    def __getattr__(self, name: str) -> Any:
        cells: dict[str, Any] = self.__dict__["_cells"]
        if name not in cells:
            device, memories = type(self._device).__name__, self.__dict__["_memories"]
            if name in memories:
                raise UnknownNameError(f"{device}: {name} is a memory: registers.memory({name!r})")
            raise UnknownNameError(f"{device} has no register {name!r}{known(name, cells)}")
        return cells[name]

    def memory(self, name: str) -> memory.Memory:
        """Return the memory behind an array of registers; the device adds its own ports to it."""
        if name not in self._memories:
            device = type(self._device).__name__
            raise UnknownNameError(f"{device} has no memory {name!r}{known(name, self._memories)}")
        return self._memories[name]

    def _add_cell(self, place: Place) -> Cell:
        m, bus, register = self._m, self._device.bus, place.register
        cell = Cell(place, register.reset_value)
        word = (register.offset >> 2) + place.index
        whole = register.whole
        chosen = (bus.adr == word) & ((bus.sel & whole) == whole)
        width = len(cell.value)
        lanes = Const(cell.acts, width) & self._lanes[:width]
        given = bus.write_data[:width] & lanes
        m.d.comb += [
            cell.written.eq(chosen & self._write),
            cell.taken.eq(chosen & self._read),
            cell.ones.eq(Mux(cell.written, given, 0)),
            cell.after.eq(cell.value),
        ]
        if cell.stores:
            kept = cell.value & ~(lanes & cell.stores)
            with m.If(cell.written):
                m.d.comb += cell.after.eq(kept | given & cell.stores)
        if cell.stores | cell.clears:
            m.d.sync += cell.value.eq(cell.after & ~(cell.ones & cell.clears) | cell.sets)
        self._words.append((word, 1, cell))
        return cell

    def _add_memory(self, register: Register) -> None:
        m, device, bus = self._m, self._device, self._device.bus
        width = register.mask().bit_length()
        if width % 8 or register.mask("rw") != (1 << width) - 1 or register.whole:
            raise ValueError(
                f"{register.name} must consist of whole bytes from bit 0 on, with access rw, "
                "to be a memory"
            )
        depth, first = register.count, register.offset >> 2
        words = memory.Memory(shape=unsigned(width), depth=depth, init=[])
        m.submodules[register.name.lower()] = words
        self._memories[register.name] = words
        port = words.write_port(granularity=8)
        chosen = (bus.adr >= first) & (bus.adr < first + depth)
        m.d.comb += [
            port.addr.eq(bus.adr - first),
            port.data.eq(bus.write_data),
            port.en.eq(Mux(chosen & self._write, bus.sel, 0)),
        ]
        readers = [words.read_port(domain="comb") for _ in range(2)]
        m.d.comb += readers[0].addr.eq(bus.adr - first)
        self._watch.d.comb += readers[1].addr.eq(device.watch_adr - first)
        self._words.append((first, depth, readers))

    def finish(self) -> None:
        """Build the two read multiplexers: of the bus, and of the watch port.

        The latter is a separate module: reading one register after the other then settles only this
        multiplexer, not the whole device.
        """
        self._m.submodules.watch_port = self._watch
        for place, (m, address, word) in enumerate(self._ports()):
            shown = Signal(wishbone.DATA_BITS, name=f"read_{place}")
            for first, depth, source in self._words:
                chosen = address == first
                if isinstance(source, Cell):
                    value = source.shown & Const(source.readable, 32)
                else:
                    value = source[place].data
                    chosen = (address >= first) & (address < first + depth)
                with m.If(chosen):
                    m.d.comb += shown.eq(value)
            m.d.comb += word.eq(shown)

    def _ports(self) -> Iterator[tuple[Module, Any, Any]]:
        device = self._device
        yield self._m, device.bus.adr, device.bus.read_data
        yield self._watch, device.watch_adr, device.watch_data
