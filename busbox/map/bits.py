"""Bits of a word by their numbers: as ranges, as text, and from text."""

from __future__ import annotations

import re
from collections.abc import Sequence

from busbox.basics.errors import format_value

#: The number of a bit.
_BIT = re.compile(r"[0-9]{1,2}")


def show_bits(bits: Sequence[int] | frozenset[int] | range) -> str:
    """Return bit numbers as ranges, highest first: ``31..28, 5``."""
    parts = bit_ranges(bits)
    return ", ".join(str(high) if high == low else f"{high}..{low}" for high, low in parts)


def bit_ranges(bits: Sequence[int] | frozenset[int] | range) -> list[tuple[int, int]]:
    """Return the highest and the lowest bit of each range of bit numbers, highest first."""
    parts: list[tuple[int, int]] = []
    for bit in sorted(bits, reverse=True):
        if parts and parts[-1][1] == bit + 1:
            parts[-1] = parts[-1][0], bit
        else:
            parts.append((bit, bit))
    return parts


def bits_in(word: int) -> list[int]:
    """Return the numbers of the bits of a word that are 1, lowest first."""
    return [bit for bit in range(word.bit_length()) if word >> bit & 1]


def parse_bits(text: str) -> frozenset[int]:
    """Return the bit numbers of ``"31..28, 5"``.

    Raises
    ------
    ValueError : not bits or ranges of bits from 31 to 2, highest first, each named once
    """
    bits: set[int] = set()
    for part in text.split(","):
        ends = [end.strip() for end in part.split("..")]
        if len(ends) > 2 or not all(map(_BIT.fullmatch, ends)):
            raise ValueError(
                f"compare must be ranges and bits such as '31..28, 5', not {format_value(text)}"
            )
        high, low = int(ends[0]), int(ends[-1])
        if not 31 >= high >= low >= 2:
            raise ValueError(
                f"compare must name bits from 31 to 2, the higher one first, not {part.strip()!r}"
            )
        named = set(range(low, high + 1))
        if named & bits:
            raise ValueError(f"compare must name each bit once, not {text!r}")
        bits |= named
    return frozenset(bits)
