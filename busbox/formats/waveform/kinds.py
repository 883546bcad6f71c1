"""The kinds of bus that can be imported: the signals of each, by the names of their standards.

Sources: Wishbone B4 (OpenCores, 2010), chapters 3 and 5; AMBA APB (ARM IHI 0024), chapters 2 and 3;
AMBA AXI (ARM IHI 0022), chapters A3 and B1. Valid/ready and strobes without a clock: common practice,
no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

#: What a signal holds: one bit; one bit or more, any of which counts; an address; a word of data; a bit
#: for each byte of it; a response of AXI.
BIT, ANY, ADDRESS, DATA, LANES, RESPONSE = range(6)
#: Widths that each may have; LANES: as many as the data has bytes.
WIDTHS = {
    BIT: range(1, 2), ANY: range(1, 65), ADDRESS: range(1, 65), DATA: (8, 16, 32),
    LANES: range(1, 5), RESPONSE: range(2, 3),
}  # fmt: skip
#: Added to the key of a signal that is active at 0.
LOW = "_n"


@dataclass(frozen=True)
class Role:
    """A signal of a bus.

    Attributes
    ----------
    name : the key in a map
    text : what it is
    holds : ``BIT``, ``ADDRESS``, ...
    required : whether a map must have it
    known_as : other names that a guess takes for it
    """

    name: str
    text: str
    holds: int = BIT
    required: bool = True
    known_as: tuple[str, ...] = ()

    @property
    def can_be_low(self) -> bool:
        """Whether it may be active at 0: the key is then ``NAME_n``."""
        return self.holds in (BIT, ANY, LANES)


@dataclass(frozen=True)
class BusKind:
    """A kind of bus.

    Attributes
    ----------
    name : ``kind`` in a map
    text : one sentence
    roles : its signals
    clocked : whether it has a clock
    """

    name: str
    text: str
    roles: tuple[Role, ...]
    clocked: bool = True

    def role(self, name: str) -> Role | None:
        """Return a signal by its key, without the ``_n`` of one that is active at 0."""
        return next((role for role in self.all_roles() if role.name == name), None)

    def all_roles(self) -> Iterator[Role]:
        """Yield all signals, clock and reset included."""
        yield from self.roles
        if self.clocked:
            yield from (CLOCK, CYCLE)
        yield RESET

    def data_roles(self) -> list[Role]:
        """Return the signals that hold a word of data."""
        return [role for role in self.roles if role.holds == DATA]

    def keys(self) -> list[str]:
        """Return the keys that a map may have."""
        keys = ["kind"]
        for role in self.all_roles():
            keys += [role.name, role.name + LOW] if role.can_be_low else [role.name]
        return [*keys, "address_step", "data_width"]


CLOCK = Role(
    "clock", "The clock: rising edges count (clock_n: falling).", required=False,
    known_as=("clk", "aclk", "pclk", "hclk", "sysclk", "sys_clk", "clk_i", "wb_clk"),
)  # fmt: skip
CYCLE = Role(
    "cycle", "In place of a clock: a counter of cycles, as in a waveform of Busbox.", ADDRESS, False
)
RESET = Role(
    "reset", "The reset: accesses in it do not count.", required=False,
    known_as=("rst", "areset", "preset", "aresetn", "presetn", "resetn", "rstn", "rst_i", "sys_rst"),
)  # fmt: skip

_WRITE_DATA = ("wdata", "dat_w", "data_w", "dat_mosi", "w_data", "write_dat", "wr_data", "dout")
_READ_DATA = ("rdata", "dat_r", "data_r", "dat_miso", "r_data", "read_dat", "rd_data", "din")
_ADDRESS = ("addr", "address", "adr")
_READ = Role(
    "read_data", "The data of a read; without it, nothing is compared.", DATA, False, _READ_DATA
)


def _wishbone(*more: Role) -> tuple[Role, ...]:
    return (
        Role("cyc", "CYC; without it, STB alone counts.", required=False),
        Role("stb", "STB.", known_as=("strobe",)),
        Role("we", "WE: 1 for a write.", known_as=("wr_en", "write_enable")),
        Role("adr", "ADR.", ADDRESS, known_as=_ADDRESS),
        Role("sel", "SEL; without it, all bytes are selected.", LANES, False, ("byte_sel", "be")),
        Role("write_data", "The data of a write.", DATA, known_as=_WRITE_DATA),
        _READ,
        Role("ack", "ACK.", known_as=("acknowledge",)),
        Role("err", "ERR: ends an access; a read has no data then.", required=False),
        Role("rty", "RTY: ends an attempt, which is then no access.", required=False),
        *more,
    )  # fmt: skip


_WISHBONE = BusKind(
    "wishbone", "Wishbone B4 classic: an access lasts until ACK, ERR or RTY.", _wishbone()
)
_PIPELINED = BusKind(
    "wishbone-pipelined",
    "Wishbone B4 pipelined: requests while STALL is low, answers in their order.",
    _wishbone(Role("stall", "STALL; without it, every request is taken at once.", required=False)),
)
_VALID_READY = BusKind(
    "valid-ready",
    "A request that is held until it is ready; a write has at least one byte strobe.",
    (
        Role("valid", "The request.", known_as=("req",)),
        Role("ready", "The end of the access."),
        Role("address", "The byte address.", ADDRESS, known_as=_ADDRESS),
        Role("write_strobes", "A bit for each byte that is written; none: a read.", LANES,
             known_as=("wstrb", "strb", "wmask", "strobes", "write_strobe", "wstrobe")),
        Role("write_data", "The data of a write.", DATA, known_as=_WRITE_DATA),
        _READ,
    ),
)  # fmt: skip
_APB = BusKind(
    "apb",
    "AMBA APB: set up while PENABLE is low, ended by PREADY while it is high.",
    (
        Role("psel", "PSEL; of several, any.", ANY, known_as=("psel0", "pselx", "sel")),
        Role("penable", "PENABLE.", known_as=("enable",)),
        Role("pwrite", "PWRITE: 1 for a write.", known_as=("write",)),
        Role("paddr", "PADDR.", ADDRESS, known_as=("addr",)),
        Role("pwdata", "PWDATA.", DATA, known_as=("wdata",)),
        Role("prdata", "PRDATA; without it, nothing is compared.", DATA, False, ("rdata",)),
        Role("pready", "PREADY; without it, always ready.", required=False, known_as=("ready",)),
        Role("pstrb", "PSTRB; without it, all bytes are written.", LANES, False, ("strb",)),
        Role("pslverr", "PSLVERR: a read has no data then.", required=False, known_as=("slverr",)),
    ),
)
_AXI4_LITE = BusKind(
    "axi4-lite",
    "AMBA AXI4-Lite: reads and writes in the order in which they end.",
    (
        Role("awvalid", "AWVALID."), Role("awready", "AWREADY."), Role("awaddr", "AWADDR.", ADDRESS),
        Role("wvalid", "WVALID."), Role("wready", "WREADY."), Role("wdata", "WDATA.", DATA),
        Role("wstrb", "WSTRB; without it, all bytes are written.", LANES, False),
        Role("bvalid", "BVALID."), Role("bready", "BREADY."),
        Role("bresp", "BRESP.", RESPONSE, False),
        Role("arvalid", "ARVALID."), Role("arready", "ARREADY."), Role("araddr", "ARADDR.", ADDRESS),
        Role("rvalid", "RVALID."), Role("rready", "RREADY."),
        Role("rdata", "RDATA; without it, nothing is compared.", DATA, False),
        Role("rresp", "RRESP: after an error, a read has no data.", RESPONSE, False),
    ),
)  # fmt: skip
_STROBES = BusKind(
    "strobes",
    "Strobes without a clock: the other signals are sampled just before a strobe ends.",
    (
        Role("read", "The strobe of a read.", known_as=("rd", "oe", "nrd", "noe")),
        Role("write", "The strobe of a write.", known_as=("wr", "we", "nwr", "nwe")),
        Role("select", "The chip select; without it, every strobe counts.", required=False,
             known_as=("cs", "ce", "ncs", "nce")),
        Role("address", "The address.", ADDRESS, known_as=("addr", "adr", "a")),
        Role("lanes", "A bit for each byte that is selected; without it, all are.", LANES, False,
             ("be", "bs", "byte_enable")),
        Role("data", "The data of reads and writes, where they share it.", DATA, False, ("dq", "d")),
        Role("write_data", "The data of a write, where it has its own.", DATA, False, _WRITE_DATA),
        Role("read_data", "The data of a read, where it has its own.", DATA, False, _READ_DATA),
    ),
    clocked=False,
)  # fmt: skip

#: All kinds, by name.
BUS_KINDS = {
    kind.name: kind for kind in (_WISHBONE, _PIPELINED, _VALID_READY, _APB, _AXI4_LITE, _STROBES)
}
