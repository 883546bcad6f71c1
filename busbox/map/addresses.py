"""Numbers and lanes in traffic files; every message gives the value found and the value expected."""

from __future__ import annotations

import re

from busbox.basics.errors import format_value
from busbox.map.registers import WORD

#: A register by name: slot and register, the latter with its number in a row.
NAME = re.compile(r"([A-Za-z_]\w*)\.([A-Za-z_]\w*(?:\.\d+)?)")
#: A pin by name: slot and pin.
PIN = re.compile(r"[A-Za-z_]\w*(?:\.\w+)+")

_KEPT_NAME = re.compile(r"[A-Za-z_][A-Za-z_0-9]*")
_NUMBER = re.compile(r"0[xX][0-9a-fA-F_]+|0[bB][01_]+|[0-9][0-9_]*")
_BARE_HEX = re.compile(r"[0-9][0-9a-fA-F_]{0,9}")
_LANES = re.compile(r"[01]{4}")


def number(text: str, what: str, high: int = WORD) -> int:
    """Return a decimal, ``0x`` or ``0b`` number from 0 to ``high``.

    Raises
    ------
    ValueError : not such a number
    """
    value: int | None = None
    if _NUMBER.fullmatch(text):
        digits = text.replace("_", "")
        try:
            value = int(digits, 0) if digits[1:2].isalpha() else int(digits)
        except ValueError:
            value = None
    if value is None:
        meant = f"; did you mean 0x{text}?" if _BARE_HEX.fullmatch(text) else ""
        raise ValueError(
            f"{what} must be a number such as 12 or 0x0c, not {format_value(text)}{meant}"
        )
    if value > high:
        raise ValueError(f"{what} must be at most {high:#x}, not {format_value(text)}")
    return value


def without_prefix(value: int) -> int | None:
    """Return the address whose hexadecimal digits are the decimal ones of ``value``.

    It is the intended number if ``0x`` was left out: 0x44000000 for 44000000. None if there is no other
    address of these digits.
    """
    meant = int(str(value), 16)
    return meant if value < meant <= WORD else None


def address(text: str) -> int:
    """Return a word-aligned byte address.

    Raises
    ------
    ValueError : no number, or not a multiple of 4
    """
    value = number(text, "an address")
    if value % 4:
        lane = value % 4
        half = "; a halfword has lanes 1100 and bits 31..16" if lane == 2 else ""
        raise ValueError(
            f"an address must be a multiple of 4, not {text}; that byte is "
            f"{value - lane:#010x} with lanes {1 << lane:04b}, its data in bits "
            f"{8 * lane + 7}..{8 * lane}{half}"
        )
    return value


def lanes(text: str) -> int:
    """Return lanes, bit k = SEL(k), from four binary digits, SEL(3) first.

    Raises
    ------
    ValueError : anything else
    """
    if not _LANES.fullmatch(text):
        raise ValueError(
            f"lanes must be four binary digits, SEL(3) first, such as 0001, not {format_value(text)}"
        )
    return int(text, 2)


def kept_name(text: str) -> str:
    """Return the name of a kept word.

    Raises
    ------
    ValueError : not a name of letters, digits and _
    """
    if not _KEPT_NAME.fullmatch(text):
        raise ValueError(
            "the name of a kept word may contain only letters, digits and _, and must not start "
            f"with a digit; got {format_value(text)}"
        )
    return text
