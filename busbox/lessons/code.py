"""An answer as a code of letters, to carry it from a page to the command line by hand.

The bytes are: the lesson's number, the seed, and each value of the answer in the order of the fields,
all as unsigned LEB128 (DWARF 5, section 7.6); then a CRC-8 of them (polynomial 0x07, from 0, as in
SMBus). They are written in Base32 (RFC 4648) without padding, in groups of four letters. A short
answer has eight letters; a long one needs more, as eight letters hold no three addresses.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence

from busbox.basics.errors import InputError

_GROUP = 4


def code_of(lesson: int, seed: int, values: Sequence[int]) -> str:
    """Return the code of an answer, such as ``AQEA CBYK``."""
    content = b"".join(_packed(one) for one in (lesson, seed, *values))
    letters = base64.b32encode(content + bytes([_check(content)])).decode("ascii").rstrip("=")
    return " ".join(letters[at : at + _GROUP] for at in range(0, len(letters), _GROUP))


def read_code(text: str) -> tuple[int, int, tuple[int, ...]]:
    """Return the lesson's number, the seed and the values of a code.

    Raises
    ------
    InputError : it is none, or has a slip of the pen
    """
    letters = "".join(text.split()).replace("-", "").upper()
    try:
        content = base64.b32decode(letters + "=" * (-len(letters) % 8))
    except ValueError:  # binascii.Error is one, and so is a letter outside of ASCII
        content = b""
    whole = len(content) >= 3 and content[0] and content[-2] <= 0x7F  # the last value ends
    if not whole or _check(content[:-1]) != content[-1]:
        raise InputError.of(
            f"must be a code as the page shows it, of the letters A to Z and digits 2 to 7, "
            f"not {text!r}; compare it letter by letter", "--code",
        )  # fmt: skip
    lesson, seed, *values = _unpacked(content[:-1])
    return lesson, seed, tuple(values)


def _packed(value: int) -> bytes:
    done = bytearray()
    while value > 0x7F:
        done.append(value & 0x7F | 0x80)
        value >>= 7
    return bytes([*done, value])


def _unpacked(content: bytes) -> list[int]:
    values, value, places = [], 0, 0
    for byte in content:
        value |= (byte & 0x7F) << places
        places += 7
        if not byte & 0x80:
            values.append(value)
            value, places = 0, 0
    return values


def _check(content: bytes) -> int:
    rest = 0
    for byte in content:
        rest ^= byte
        for _ in range(8):
            rest = (rest << 1 ^ 0x07) & 0xFF if rest & 0x80 else rest << 1
    return rest
