"""Devices in Amaranth whose bus port is of another kind than the fabric's."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from amaranth.hdl import Cat, Const, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In

from busbox.bus import wishbone
from busbox.bus.hardware import Hardware
from busbox.bus.ports import KINDS, PortKind
from busbox.device import Site


class PortedHardware(Hardware):
    """A device behind a bridge. Its contract is that of :class:`busbox.bus.hardware.Hardware`, but for
    this:

    A subclass says which kind of port it has, and defines ``build_port(m, port)`` in the place of
    ``build``: it reads and drives the roles of the port, such as ``port["paddr"]``, its pins, and
    ``at_rest``. Registers and their reset values are its own affair; the declaration serves findings
    and names. What ``watch_data`` shows it may drive; if it does not, it sets ``listed = False``, and
    its registers are not shown at the end of a run::

        class DimmerHardware(DimmerRegisters, PortedHardware):
            port_kind = "apb"

            def build_port(self, m, port):
                level = Signal(8)
                with m.If(port["psel"] & port["penable"] & port["pwrite"]):
                    m.d.sync += level.eq(port["pwdata"])
                m.d.comb += [port["prdata"].eq(level), port["pready"].eq(1)]
                m.d.comb += [self.watch_data.eq(level), self.pin_lamp.eq(level.any())]

    Attributes
    ----------
    port_kind : a name in :data:`busbox.bus.ports.KINDS`
    port_lacks : roles that it does not have, of those that a port need not have
    address_bits : bits of its address; None for those of its slot
    address_words : its address counts words; None: as the kind does
    late : its read data comes a cycle after the access is accepted (``strobes``)
    port : its roles, by name
    bridged : the fabric reaches it through its bridge; if not, nothing drives the roles of ``port``
        that are the bus's, and ``bus`` does nothing: so ``busbox check`` drives the port itself
    """

    port_kind: ClassVar[str]
    port_lacks: ClassVar[frozenset[str]] = frozenset()
    address_bits: ClassVar[int | None] = None
    address_words: ClassVar[bool | None] = None
    late: ClassVar[bool] = False

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        kind = KINDS.get(getattr(cls, "port_kind", ""))
        if kind is not None:
            cls.least_wait = cls.pace(kind)[0]

    @classmethod
    def pace(cls, kind: PortKind) -> tuple[int, int]:
        """Return the wait states that its slot needs, and the cycles that the bridge adds at least."""
        if kind.name == "wishbone" and "stall" not in cls.port_lacks:
            return 1, 0
        return kind.least_wait, kind.more

    def __init__(self, site: Site, **settings: Any) -> None:
        super().__init__(site, **settings)
        self.kind = KINDS[self.port_kind]
        self.bridged = True
        bits = self.address_bits
        if bits is None:
            bits = max(1, len(self.bus.adr) + (0 if self.counts_words else 2))
        self.port: dict[str, Signal] = {
            role.name: Signal(role.size(bits), name=role.name)
            for role in self.kind.roles
            if role.name not in self.port_lacks
        }

    @classmethod
    def added(cls) -> tuple[int, int]:
        """Return the cycles that the bridge adds to a write and to a read, at least."""
        more = cls.pace(KINDS[cls.port_kind])[1]
        return more, more + cls.late

    def build_port(self, m: Module, port: Mapping[str, Any]) -> None:
        """Add the device's own logic."""
        raise NotImplementedError

    @property
    def counts_words(self) -> bool:
        """Whether the device's address counts words."""
        return self.kind.words if self.address_words is None else self.address_words

    def address(self, word: Any, bits: int) -> Any:
        """Return a word address of the slot as the device's port takes it, in ``bits`` bits."""
        given = word if self.counts_words else Cat(Const(0, 2), word)
        return given[:bits]

    def elaborate(self, platform: object) -> Module:
        m = Module()
        if self.bridged:
            word = self.kind.bridge(m, self.bus, self.port, self.late)
            for name in self.kind.address:
                m.d.comb += self.port[name].eq(self.address(word, len(self.port[name])))
        self.build_port(m, self.port)
        if not self.listed:
            m.d.comb += self.watch_data.eq(0)
        return m


class Bridged(wiring.Component):
    """A component with a member ``port`` of another kind, behind the bridge of that kind.

    Parameters
    ----------
    component : it
    port : the roles of its port
    kind : of the port

    Members
    -------
    ``bus`` (in): the fabric's port; ``free_NAME`` (in): an input of the component.
    """

    bus: Any

    def __init__(self, component: Any, port: Mapping[str, Any], kind: PortKind) -> None:
        self._component, self._port, self._kind = component, port, kind
        self._inputs = {
            f"free_{'_'.join(map(str, path))}": value
            for path, member, value in component.signature.flatten(component)
            if path[0] != "port" and member.flow == In
        }
        bits = len(self._port[kind.address[0]]) - (0 if kind.words else 2)
        bits = max(0, min(bits, wishbone.WORD_ADDRESS_BITS))
        free = {name: In(len(value)) for name, value in self._inputs.items()}
        super().__init__({"bus": In(wishbone.Signature(bits)), **free})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.component = self._component
        word = self._kind.bridge(m, self.bus, self._port, False)
        for name in self._kind.address:
            given = word if self._kind.words else Cat(Const(0, 2), word)
            m.d.comb += self._port[name].eq(given[: len(self._port[name])])
        m.d.comb += [value.eq(getattr(self, name)) for name, value in self._inputs.items()]
        return m
