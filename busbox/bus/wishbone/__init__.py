"""Wishbone B4 classic: the port, the fabric, the master, the rules that a trace must keep."""

from busbox.bus.wishbone.port import DATA_BITS, LANES, WORD_ADDRESS_BITS, Signature

__all__ = ["DATA_BITS", "LANES", "WORD_ADDRESS_BITS", "Signature"]
