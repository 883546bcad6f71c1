"""A hardware device as a module of its own: its port of a chosen kind, its pins, clock and reset."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from amaranth.hdl import ClockDomain, Elaboratable, Module, Signal

from busbox.bus.hardware import Hardware
from busbox.bus.ports import ADDRESS, KINDS, PortKind
from busbox.bus.ports.fronts import FRONTS

#: Names of a Wishbone port, seen from the device (Wishbone B4, section 2.2); AMBA names its roles so.
_WISHBONE = {
    "cyc": "cyc_i", "stb": "stb_i", "we": "we_i", "adr": "adr_i", "sel": "sel_i",
    "write_data": "dat_i", "read_data": "dat_o", "ack": "ack_o", "err": "err_o",
}  # fmt: skip
#: Name of the device inside of its module; it is taken off the names of what is in it.
INNER = "inner"
#: Roles that no exported port has.
LEFT_OUT = frozenset({"stall", "cti", "bte", "lock", "pprot", "awprot", "arprot", "read"})
#: Clock, reset and whether that is active low, as the standard of each kind names them.
_CLOCKING = {
    "wishbone": ("clk_i", "rst_i", False),
    "apb": ("pclk", "presetn", True),
    "axi4-lite": ("aclk", "aresetn", True),
    "strobes": ("clk", "rst", False),
}
#: Words that nothing may be called (IEEE 1800-2017, annex B; from memory).
KEYWORDS = frozenset((
    "accept_on", "alias", "always", "always_comb", "always_ff", "always_latch", "and", "assert",
    "assign", "assume", "automatic", "before", "begin", "bind", "bins", "binsof", "bit", "break",
    "buf", "bufif0", "bufif1", "byte", "case", "casex", "casez", "cell", "chandle", "checker",
    "class", "clocking", "cmos", "config", "const", "constraint", "context", "continue", "cover",
    "covergroup", "coverpoint", "cross", "deassign", "default", "defparam", "design", "disable",
    "dist", "do", "edge", "else", "end", "endcase", "endchecker", "endclass", "endclocking",
    "endconfig", "endfunction", "endgenerate", "endgroup", "endinterface", "endmodule",
    "endpackage", "endprimitive", "endprogram", "endproperty", "endspecify", "endsequence",
    "endtable", "endtask", "enum", "event", "eventually", "expect", "export", "extends", "extern",
    "final", "first_match", "for", "force", "foreach", "forever", "fork", "forkjoin", "function",
    "generate", "genvar", "global", "highz0", "highz1", "if", "iff", "ifnone", "ignore_bins",
    "illegal_bins", "implements", "implies", "import", "incdir", "include", "initial", "inout",
    "input", "inside", "instance", "int", "integer", "interconnect", "interface", "intersect",
    "join", "join_any", "join_none", "large", "let", "liblist", "library", "local", "localparam",
    "logic", "longint", "macromodule", "matches", "medium", "modport", "module", "nand", "negedge",
    "nettype", "new", "nexttime", "nmos", "nor", "noshowcancelled", "not", "notif0", "notif1",
    "null", "or", "output", "package", "packed", "parameter", "pmos", "posedge", "primitive",
    "priority", "program", "property", "protected", "pull0", "pull1", "pulldown", "pullup",
    "pulsestyle_ondetect", "pulsestyle_onevent", "pure", "rand", "randc", "randcase",
    "randsequence", "rcmos", "real", "realtime", "ref", "reg", "reject_on", "release", "repeat",
    "restrict", "return", "rnmos", "rpmos", "rtran", "rtranif0", "rtranif1", "s_always",
    "s_eventually", "s_nexttime", "s_until", "s_until_with", "scalared", "sequence", "shortint",
    "shortreal", "showcancelled", "signed", "small", "soft", "solve", "specify", "specparam",
    "static", "string", "strong", "strong0", "strong1", "struct", "super", "supply0", "supply1",
    "sync_accept_on", "sync_reject_on", "table", "tagged", "task", "this", "throughout", "time",
    "timeprecision", "timeunit", "tran", "tranif0", "tranif1", "tri", "tri0", "tri1", "triand",
    "trior", "trireg", "type", "typedef", "union", "unique", "unique0", "unsigned", "until",
    "until_with", "untyped", "use", "uwire", "var", "vectored", "virtual", "void", "wait",
    "wait_order", "wand", "weak", "weak0", "weak1", "while", "wildcard", "wire", "with", "within",
    "wor", "xnor", "xor",
))  # fmt: skip


@dataclass(frozen=True)
class Style:
    """How a module is to look from outside.

    Attributes
    ----------
    bus : kind of its port
    clock, reset : names; "" for those of the kind's standard
    reset_low : whether the reset is active low; None: as the standard of the kind has it
    """

    bus: str = "wishbone"
    clock: str = ""
    reset: str = ""
    reset_low: bool | None = None

    @property
    def kind(self) -> PortKind:
        """The kind of port."""
        return KINDS[self.bus]

    @property
    def clocking(self) -> tuple[str, str, bool]:
        """Names of clock and reset, and whether the reset is active low."""
        clock, reset, low = _CLOCKING[self.bus]
        given = low if self.reset_low is None else self.reset_low
        named = self.reset or (reset if given == low else _turned(reset, given))
        return self.clock or clock, named, given

    @property
    def bus_ports(self) -> dict[str, str]:
        """The names of the ports of the bus, by role."""
        return {
            role.name: port_name(self.bus, role.name)
            for role in self.kind.roles
            if role.name not in LEFT_OUT
        }


def port_name(bus: str, role: str) -> str:
    """Return the name of a role's port on a device."""
    return _WISHBONE.get(role, role) if bus == "wishbone" else role


def _turned(reset: str, low: bool) -> str:
    """Return the name of a reset of the other polarity."""
    return (
        f"{reset.removesuffix('_i')}n{'_i' if reset.endswith('_i') else ''}" if low else reset[:-1]
    )


def unused(name: str, taken: set[str], ending: str) -> str:
    """Return a name that is neither taken nor a keyword, with the ending as often as it takes.

    It is added to what is taken.
    """
    while name in taken or name in KEYWORDS:
        name += ending
    taken.add(name)
    return name


@dataclass(frozen=True)
class OuterPort:
    """A port of an exported module.

    Attributes
    ----------
    name, width, is_input : as in the module
    text : what it is, for a comment
    signal : Amaranth's
    """

    name: str
    width: int
    is_input: bool
    text: str
    signal: Any


class Facing(Elaboratable):
    """A module with clock, reset and a bus port of a style.

    Parameters
    ----------
    bits : of the address

    Attributes
    ----------
    port : role to signal
    domain : the clock domain; its reset follows the port's
    clocking : the ports of clock and reset
    """

    def __init__(self, style: Style, bits: int) -> None:
        self.style = style
        self.port = {
            role: Signal(style.kind.role(role).size(bits), name=name)
            for role, name in style.bus_ports.items()
        }
        clock, reset, self._low = style.clocking
        self.domain = ClockDomain("sync")
        self.domain.clk.name = clock
        self._reset = Signal(name=reset)
        how = f"reset, synchronous, active {'low' if self._low else 'high'}"
        self.clocking = (
            OuterPort(clock, 1, True, "clock, rising edge", self.domain.clk),
            OuterPort(reset, 1, True, how, self._reset),
        )

    def facing(self, inner: Elaboratable, bus: Any, word: Any, lead: bool) -> Module:
        """Return the module around what is inside, whose port is ``bus``."""
        m = Module()
        m.submodules[INNER] = inner
        m.domains += self.domain
        assert self.domain.rst is not None
        m.d.comb += self.domain.rst.eq(~self._reset if self._low else self._reset)
        FRONTS[self.style.bus](m, bus, self.port, word, lead)
        return m


class Outer(Facing):
    """A device with its outer port.

    Attributes
    ----------
    device : the device
    ports : in the order of the module: clock, reset, bus, pins
    """

    def __init__(self, device: Hardware, style: Style) -> None:
        words = style.kind.words
        super().__init__(style, max(1, len(device.bus.adr) + (0 if words else 2)))
        self.device, self.words = device, words
        self.ports = tuple(self._ports())

    def _ports(self) -> Iterator[OuterPort]:
        yield from self.clocking
        taken = {port.name for port in self.clocking}
        for name, signal in self.port.items():
            role = self.style.kind.role(name)
            unit = " of a word" if self.words else " of a byte"
            text = f"address{unit} in the slot" if role.width == ADDRESS else ""
            taken.add(signal.name)
            yield OuterPort(signal.name, len(signal), role.driven, text, signal)
        for stem, pins in self.device.groups.items():
            member = getattr(self.device, f"pin_{stem}")
            text = pins[0].text.rstrip(".")
            yield self._pin(stem, member, pins[0].direction == "input", text, taken)
            if pins[0].released:
                enable = getattr(self.device, f"pin_{stem}_enable")
                text = f"0 releases {stem}"
                yield self._pin(f"{stem}_enable", enable, False, text, taken)

    @staticmethod
    def _pin(name: str, signal: Any, is_input: bool, text: str, taken: set[str]) -> OuterPort:
        signal.name = name = unused(name, taken, "_pin")
        return OuterPort(name, len(signal), is_input, text, signal)

    def elaborate(self, platform: object) -> Module:
        lead = self.device.least_wait > 0
        return self.facing(self.device, self.device.bus, self.word_of, lead)

    def word_of(self, address: Any) -> Any:
        """Return the word address of an address of the port."""
        return address[: len(self.device.bus.adr)] if self.words else address[2:]
