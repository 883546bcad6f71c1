"""Kinds of bus port that a device may have, and the bridges from the fabric to each of them.

The fabric speaks Wishbone B4 classic (:mod:`busbox.bus.wishbone`). A device whose own port is of
another kind stands behind a bridge, a few registers in Amaranth. A kind is a list of :class:`Role`, the
signals of its standard, and the function that builds its bridge.

- ``wishbone``: 0 cycles more than the fabric's own; with STALL it is pipelined: 0 if ACK comes in the
  cycle of the request, else as the device takes. Source: Wishbone B4, sections 3.1.3.1 and 3.1.3.2.
- ``apb``: 1 cycle more, the setup phase. Source: AMBA APB Protocol Specification, IHI 0024C,
  chapters 2 to 4.
- ``axi4-lite``: 1 cycle more, since the answer comes after the handshake of address and data. Source:
  AMBA AXI and ACE Protocol Specification, IHI 0022E, chapters A3 and B1.
- ``strobes``: 0 cycles more; where read data is late, 1 for a read. Source: common practice, no source.

What the device itself takes longer comes on top. Except for a classic Wishbone port, the slot needs a
wait state, so that the port is idle for a cycle between two accesses. An access that the fabric gives
up (a watchdog) is carried to its end on the device's side, and its answer is dropped: neither APB nor
AXI knows how to withdraw. A reset ends everything at once.

A port without byte strobes (``apb`` without PSTRB, ``strobes`` without lanes) can only write whole
words: a write to some lanes alone is answered with ERR and does not reach the device.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from amaranth.hdl import Module, Shape
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from busbox.bus.ports.bridges import (
    bridge_apb,
    bridge_axi4_lite,
    bridge_strobes,
    bridge_wishbone,
)

#: Widths of roles that are as wide as the device has them.
ADDRESS, DATA, LANES = "address", "data", "lanes"


@dataclass(frozen=True)
class Role:
    """One signal of a kind of port.

    Attributes
    ----------
    name : as its standard calls it, in lower case
    driven : the bus drives it; else the device
    width : bits, or :data:`ADDRESS` (from 1 to 32), :data:`DATA` (32) or :data:`LANES` (4)
    needed : a device must have it
    others : further names by which it is known
    """

    name: str
    driven: bool
    width: int | str = 1
    needed: bool = True
    others: tuple[str, ...] = ()

    def fits(self, width: int) -> bool:
        """Return whether a signal of ``width`` bits can have the role."""
        if self.width == ADDRESS:
            return 1 <= width <= 32
        return width == self.size(0)

    def size(self, address_bits: int) -> int:
        """Return its width in bits where addresses have as many."""
        if isinstance(self.width, int):
            return self.width
        return {ADDRESS: address_bits, DATA: 32, LANES: 4}[self.width]

    @property
    def bits(self) -> str:
        """The widths that fit, for a message."""
        if self.width == ADDRESS:
            return "1 to 32 bits"
        width = self.size(0)
        return f"{width} bit{'' if width == 1 else 's'}"


@dataclass(frozen=True)
class PortKind:
    """A kind of bus port.

    Attributes
    ----------
    name : as a bench names it
    roles : its signals
    bridge : ``bridge(m, bus, port, late)`` drives the roles of ``port``, a mapping from the names of
        those that the device has, from the fabric's port ``bus``, and returns the word address
    more : cycles that every access takes more than at the fabric
    words : addresses count words, not bytes, unless something else is said
    least_wait : wait states that its slot needs
    """

    name: str
    roles: tuple[Role, ...]
    bridge: Callable[[Module, Any, Mapping[str, Any], bool], Any]
    more: int = 0
    words: bool = False
    least_wait: int = 1

    def role(self, name: str) -> Role:
        """Return the role of a name."""
        return next(role for role in self.roles if role.name == name)

    @property
    def address(self) -> tuple[str, ...]:
        """The roles that are addresses."""
        return tuple(role.name for role in self.roles if role.width == ADDRESS)

    def lacks(self, signature: wiring.Signature) -> frozenset[str] | None:
        """Return the roles that a port of this signature lacks, or None if it is of another kind."""
        members = signature.members
        roles = {role.name: role for role in self.roles}
        needed = {role.name for role in self.roles if role.needed}
        if not needed <= members.keys() <= roles.keys():
            return None
        for name, member in members.items():
            flow = Out if roles[name].driven else In
            width = Shape.cast(member.shape).width if member.is_port else 0
            if member.flow != flow or member.dimensions or not roles[name].fits(width):
                return None
        return frozenset(name for name in roles if name not in members)

    def signature(self, address_bits: int, lacks: frozenset[str] = frozenset()) -> wiring.Signature:
        """Return the signature of such a port, as the bus sees it.

        Parameters
        ----------
        address_bits : bits of the address, of bytes or of words as the kind counts
        lacks : roles that the device does not have
        """
        members = {
            role.name: (Out if role.driven else In)(role.size(address_bits))
            for role in self.roles
            if role.name not in lacks
        }
        return wiring.Signature(members)


def _in(name: str, *others: str, width: int | str = 1, needed: bool = True) -> Role:
    return Role(name, True, width, needed, others)


def _out(name: str, *others: str, width: int | str = 1, needed: bool = True) -> Role:
    return Role(name, False, width, needed, others)


_WISHBONE = PortKind(
    "wishbone",
    (
        _in("cyc"),
        _in("stb", "strobe"),
        _in("we"),
        _in("adr", "addr", "address", width=ADDRESS),
        _in("sel", width=LANES, needed=False),
        _in("write_data", "dat_i", "dat_w", "wdata", "dat_write", "data_i", width=DATA),
        _out("read_data", "dat_o", "dat_r", "rdata", "dat_read", "data_o", width=DATA),
        _out("ack"),
        _out("err", needed=False),
        _out("stall", needed=False),
        _in("cti", width=3, needed=False),
        _in("bte", width=2, needed=False),
        _in("lock", needed=False),
    ),
    bridge_wishbone,
    words=True,
    least_wait=0,
)
_APB = PortKind(
    "apb",
    (
        _in("psel", "pselx"),
        _in("penable"),
        _in("pwrite"),
        _in("paddr", width=ADDRESS),
        _in("pwdata", width=DATA),
        _in("pstrb", width=LANES, needed=False),
        _in("pprot", width=3, needed=False),
        _out("prdata", width=DATA),
        _out("pready", needed=False),
        _out("pslverr", needed=False),
    ),
    bridge_apb,
    more=1,
)
_AXI4_LITE = PortKind(
    "axi4-lite",
    (
        _in("awvalid"),
        _out("awready"),
        _in("awaddr", width=ADDRESS),
        _in("awprot", width=3, needed=False),
        _in("wvalid"),
        _out("wready"),
        _in("wdata", width=DATA),
        _in("wstrb", width=LANES),
        _out("bvalid"),
        _in("bready"),
        _out("bresp", width=2),
        _in("arvalid"),
        _out("arready"),
        _in("araddr", width=ADDRESS),
        _in("arprot", width=3, needed=False),
        _out("rvalid"),
        _in("rready"),
        _out("rdata", width=DATA),
        _out("rresp", width=2),
    ),
    bridge_axi4_lite,
    more=1,
)
_STROBES = PortKind(
    "strobes",
    (
        _in("select", "sel", "cs", "chip_select", "valid", needed=False),
        _in("write", "we", "wr", "wen", "write_enable"),
        _in("read", "re", "rd", "ren", "read_enable", needed=False),
        _in("address", "addr", "adr", width=ADDRESS),
        _in("write_data", "wdata", "din", "data_i", "data_in", "dat_i", width=DATA),
        _in("lanes", "be", "strb", "wstrb", "byte_enable", width=LANES, needed=False),
        _out("read_data", "rdata", "dout", "data_o", "data_out", "dat_o", width=DATA),
        _out("ready", "rdy", "ack", needed=False),
        _out("error", "err", needed=False),
    ),
    bridge_strobes,
)

#: The kinds of port, by name.
KINDS: Final = {kind.name: kind for kind in (_WISHBONE, _APB, _AXI4_LITE, _STROBES)}
