"""The core's own memories and what is in them at the start."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Memory:
    """One memory.

    Attributes
    ----------
    base, size : in bytes, multiples of 4
    contents : the first bytes; the rest has the word ``fill``
    fill : 32 bits
    clocks : cycles of an access
    writable : a store to one that is not is an access fault
    """

    base: int
    size: int
    contents: bytes = b""
    fill: int = 0
    clocks: int = 1
    writable: bool = True

    @property
    def end(self) -> int:
        """The first address behind it."""
        return self.base + self.size

    def bytes(self) -> bytes:
        """Return all of its contents."""
        whole = self.fill.to_bytes(4, "little") * (self.size // 4)
        return self.contents + whole[len(self.contents) :]
