"""The signature of a Wishbone B4 classic port: 32-bit data, 8-bit granularity.

Names are those of the standard (CYC, STB, WE, ADR, SEL, ACK, ERR); its DAT_O and DAT_I, which mean
opposite things at the two ends, are ``write_data`` (to the device) and ``read_data`` (from it).
"""

from __future__ import annotations

from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

DATA_BITS = 32
LANES = 4
#: Address bits of a word address in a 32-bit byte space.
WORD_ADDRESS_BITS = 30


class Signature(wiring.Signature):
    """A port as its master sees it.

    Parameters
    ----------
    address_bits : bits of the word address; a device of 4 registers sees 2

    Members
    -------
    ``cyc, stb, we`` (out, 1), ``adr`` (out, address_bits), ``sel`` (out, 4),
    ``write_data`` (out, 32), ``read_data`` (in, 32), ``ack, err`` (in, 1)
    """

    def __init__(self, address_bits: int = WORD_ADDRESS_BITS) -> None:
        if not 0 <= address_bits <= WORD_ADDRESS_BITS:
            raise ValueError(
                f"address_bits must be from 0 to {WORD_ADDRESS_BITS}, not {address_bits!r}"
            )
        self.address_bits = address_bits
        super().__init__(
            {
                "cyc": Out(1),
                "stb": Out(1),
                "we": Out(1),
                "adr": Out(address_bits),
                "sel": Out(LANES),
                "write_data": Out(DATA_BITS),
                "read_data": In(DATA_BITS),
                "ack": In(1),
                "err": In(1),
            }
        )

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Signature) and self.address_bits == other.address_bits

    def __repr__(self) -> str:
        return f"wishbone.Signature({self.address_bits})"
