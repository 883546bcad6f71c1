"""The types of C that integers of an expression have: sizes, signs, and how operands meet."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

#: Types whose size is that of an address, and whether they are signed.
_AS_WIDE = {
    "size_t": False,
    "uintptr_t": False,
    "intptr_t": True,
    "ptrdiff_t": True,
    "ssize_t": True,
}
SIZED = re.compile(r"[a-z]*(8|16|32|64)(?:_t)?", re.IGNORECASE)
SIZES = {
    "char": 1,
    "bool": 1,
    "_Bool": 1,
    "short": 2,
    "double": 8,
    "long": 4,
    "int": 4,
    "unsigned": 4,
    "signed": 4,
    "float": 4,
}  # the first one that is named counts


class Type(NamedTuple):
    """The type of an integer in an expression: no narrower than ``int``, as C promotes it."""

    bits: int = 32
    signed: bool = True

    def wrapped(self, value: int) -> int:
        """Return what the type holds of a value."""
        value &= (1 << self.bits) - 1
        return value - (1 << self.bits) if self.signed and value >> (self.bits - 1) else value


#: ``int`` and ``long`` have 32 bits, as on the processors of soft cores.
INT, UNSIGNED, LONG_LONG = Type(), Type(32, False), Type(64)


def size_of(words: Sequence[str]) -> int | None:
    """Return the bytes of a type, None if its words do not determine them."""
    if {"struct", "union", "void"} & set(words):
        return None
    for word in words:
        sized = SIZED.fullmatch(word)
        if sized:
            return int(sized[1]) // 8
    if words.count("long") == 2:
        return 8
    return next((size for word, size in SIZES.items() if word in words), None)


def type_of(words: Sequence[str], size: int | None) -> Type | None:
    """Return the type that a cast to some words gives, None if they do not determine it."""
    for word in words:
        if word in _AS_WIDE:
            return Type(32, _AS_WIDE[word])
    if size is None:
        return None
    unsigned = "unsigned" in words or any(
        SIZED.fullmatch(word) and word[:1] in "uU" for word in words
    )
    return Type(64 if size == 8 else 32, not (unsigned and size >= 4))


def narrowed(value: int, words: Sequence[str], size: int | None) -> int:
    """Return what a type narrower than ``int`` holds of a value; ``char`` counts as unsigned."""
    if size not in (1, 2):
        return value
    signed = "signed" in words or "short" in words or any(
        (SIZED.fullmatch(word) is not None) and word[:1] not in "uU" for word in words
    )  # fmt: skip
    return Type(8 * size, signed and "unsigned" not in words).wrapped(value)


def literal_type(text: str, number: int) -> Type:
    """Return the type of a literal. Source: ISO C11, 6.4.4.1, paragraph 5."""
    digits = text.lower().rstrip("ul")
    suffix = "" if text[0] == "'" else text.lower()[len(digits) :]
    bits = 64 if "ll" in suffix else 32
    if "u" in suffix:
        return Type(bits, False)
    if number > 0x7FFF_FFFF and bits == 32:
        return LONG_LONG if digits[0] != "0" else UNSIGNED
    return Type(bits)


def common(left: Type, right: Type) -> Type:
    """Return the type in which two operands meet. Source: ISO C11, 6.3.1.8."""
    if left.bits == right.bits:
        return Type(left.bits, left.signed and right.signed)
    return max(left, right)
