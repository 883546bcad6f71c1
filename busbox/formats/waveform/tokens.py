"""The words of a waveform's changes, many at once (IEEE 1364-2005, clause 18.2).

A word is a time (``#12``), a scalar change (``1!``), a value of several bits, a real number or a text
with the code in the next word (``b101 !``), or a command (``$dumpvars``). A code may begin with any
character, so whether a word is a code follows from the word before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]

#: Kinds of words.
SCALAR, TIME, VECTOR, OTHER, COMMAND, CODE, NONE = range(7)


def _kinds() -> Array:
    table = np.full(256, NONE, dtype="u1")
    for kind, firsts in ((SCALAR, b"01xXzZ"), (VECTOR, b"bB"), (OTHER, b"rRsS")):
        table[list(firsts)] = kind
    table[ord("#")], table[ord("$")] = TIME, COMMAND
    return table


_KINDS = _kinds()
#: A digit of a value: 0, 1, 2 if it is unknown, 3 if it is none.
DIGITS = np.full(256, 3, dtype="u1")
DIGITS[list(b"01xXzZ")] = (0, 1, 2, 2, 2, 2)
#: The mask of the first n of eight bytes.
_FIRST = np.array([(1 << 8 * count) - 1 for count in range(9)], dtype="<u8")


@dataclass(frozen=True)
class Words:
    """The words of a piece of a file.

    Attributes
    ----------
    text : the bytes, as numbers, with eight more at the end
    first, end : the place of each word in them
    kind : of each word
    """

    text: Array
    first: Array
    end: Array
    kind: Array

    def of(self, *kinds: int) -> Array:
        """Return the numbers of the words of these kinds, in order."""
        found: Array = np.flatnonzero(
            np.isin(self.kind, kinds) if kinds[1:] else self.kind == kinds[0]
        )
        return found

    def word(self, number: int) -> str:
        """Return a word as text, for messages."""
        part = self.text[self.first[number] : self.end[number]]
        return part.tobytes().decode("utf-8", "replace")

    def keys(self, first: Array, length: Array) -> Array:
        """Return the first eight bytes of each word as one number; 0 stands for those it lacks."""
        eight = np.ndarray(len(self.text) - 7, dtype="<u8", buffer=self.text, strides=(1,))
        keys: Array = eight[first] & _FIRST[np.minimum(length, 8)]
        return keys

    def numbers(self, first: Array, end: Array) -> tuple[Array, Array]:
        """Return decimal numbers of at most 18 digits, and which words are such numbers."""
        length = end - first
        good = (length > 0) & (length <= 18)
        value = np.zeros(len(first), dtype="i8")
        for place in range(int(min(length.max(initial=0), 18))):
            inside = good & (length > place)
            digit = np.where(inside, self.text[np.minimum(first + place, end)], ord("0"))
            digit = digit.astype("i8") - ord("0")
            good &= (digit >= 0) & (digit <= 9)
            value = np.where(inside, value * 10 + digit, value)
        return value, good


def words_of(data: bytes) -> Words:
    """Return the words of a piece of a file that begins and ends between two words."""
    text = np.frombuffer(data + bytes(8), dtype="u1")
    blank = text <= ord(" ")
    borders = np.flatnonzero(blank[1:] != blank[:-1]) + 1
    if not blank[0]:
        borders = np.concatenate(([0], borders))
    first, end = borders[::2], borders[1::2]
    kind = _KINDS[text[first]]
    with_code = (kind == VECTOR) | (kind == OTHER)
    if (with_code[1:] & with_code[:-1]).any():
        with_code = _first_of_pairs(with_code)
    kind[1:][with_code[:-1]] = CODE
    return Words(text, first, end, kind)


def _first_of_pairs(like_a_value: Array) -> Array:
    """Return which words are values, where a code may look like one: every second of a row."""
    place = np.arange(len(like_a_value))
    before = np.maximum.accumulate(np.where(like_a_value, -1, place))
    found: Array = like_a_value & ((place - before) % 2 == 1)
    return found


@dataclass(frozen=True)
class Values:
    """Values of up to 64 bits.

    Attributes
    ----------
    ones : bits that are 1
    unknown : bits that are x or z
    """

    ones: Array
    unknown: Array

    def __len__(self) -> int:
        return len(self.ones)

    def take(self, places: Any) -> Values:
        """Return the values at these places."""
        return Values(self.ones[places], self.unknown[places])

    @classmethod
    def joined(cls, *parts: Values) -> Values:
        """Return all values, one part after the other."""
        return cls(
            np.concatenate([part.ones for part in parts]),
            np.concatenate([part.unknown for part in parts]),
        )


def values_of(words: Words, first: Array, end: Array, width: Array) -> tuple[Values, Array]:
    """Return binary values, extended to their widths, and which words are such values.

    A value that is shorter than its variable is extended by 0, or by its first digit if that is unknown
    (clause 18.2.1).
    """
    length = end - first
    good = (length > 0) & (length <= width)
    ones, unknown = (np.zeros(len(first), dtype="u8") for _ in range(2))
    plain = (length == 1) & (DIGITS[words.text[first]] < 2)
    ones[plain] = DIGITS[words.text[first[plain]]]
    several = np.flatnonzero(~plain & (end >= 64) & good)
    found, known = _by_eight(words, end[several], length[several])
    ones[several] = found
    plain[several[known]] = True
    rest = np.flatnonzero(~plain & good)
    if len(rest):
        ones[rest], unknown[rest], good[rest] = _by_digit(
            words, first[rest], end[rest], width[rest]
        )
    return Values(ones, unknown), good


#: Lowest bits of eight digits, times this: the highest byte holds them side by side.
_GATHER = np.uint64(0x8040201008040201)
_LOW, _HIGH, _ZEROS = (np.uint64(0x0101010101010101 * byte) for byte in (0x01, 0xFE, 0x30))


def _by_eight(words: Words, end: Array, length: Array) -> tuple[Array, Array]:
    """Return values of digits 0 and 1, and which words hold no others; none ends before byte 64."""
    eight = np.ndarray(len(words.text) - 7, dtype="<u8", buffer=words.text, strides=(1,))
    ones, known = np.zeros(len(end), dtype="u8"), np.ones(len(end), dtype=bool)
    for group in range(-(-int(length.max(initial=0)) // 8)):
        inside = ~_FIRST[np.clip(8 - (length - 8 * group), 0, 8)]
        digits = eight[end - 8 * (group + 1)]
        known &= ((digits & _HIGH) ^ _ZEROS) & inside == 0
        ones |= ((digits & inside & _LOW) * _GATHER >> np.uint64(56)) << np.uint64(8 * group)
    return ones, known


def _by_digit(words: Words, first: Array, end: Array, width: Array) -> tuple[Array, Array, Array]:
    """Return the bits that are 1, those that are unknown, and which words are values."""
    ones, unknown = (np.zeros(len(first), dtype="u8") for _ in range(2))
    good = np.ones(len(first), dtype=bool)
    leading = DIGITS[words.text[first]]
    for bit in range(int(width.max())):
        inside = bit < end - first
        digit = np.where(inside, DIGITS[words.text[np.maximum(end - 1 - bit, first)]], leading & 2)
        digit = np.where(bit < width, digit, 0)
        good &= digit < 3
        ones |= (digit == 1).astype("u8") << np.uint64(bit)
        unknown |= (digit == 2).astype("u8") << np.uint64(bit)
    return ones, unknown, good
