"""Numbers and lanes in traffic files; every message gives the value found and the value expected."""

from __future__ import annotations

import re

from busbox.basics.errors import format_value
from busbox.map.registers import WORD

#: Hexadecimal digits of an address.
ADDRESS_DIGITS = 8
#: A register by name: slot and register, the latter with its number in a row.
NAME = re.compile(r"([A-Za-z_]\w*)\.([A-Za-z_]\w*(?:\.\d+)?)")
#: A pin by name: slot and pin.
PIN = re.compile(r"[A-Za-z_]\w*(?:\.\w+)+")

_KEPT_NAME = re.compile(r"[A-Za-z_][A-Za-z_0-9]*")
_NUMBER = re.compile(r"0[xX][0-9a-fA-F_]+|0[bB][01_]+|0[dD][0-9_]+|[0-9][0-9_]*")
_DIGITS = re.compile(r"[0-9][0-9_]*")
_BARE_HEX = re.compile(r"[0-9][0-9a-fA-F_]{0,9}")
_LANES = re.compile(r"[01]{4}")


def number(text: str, what: str, high: int = WORD) -> int:
    """Return a number from 0 to ``high``: hexadecimal with ``0x``, binary with ``0b``, else decimal.

    ``0d`` says that a number is decimal on purpose.

    Raises
    ------
    ValueError : not such a number
    """
    value: int | None = None
    if _NUMBER.fullmatch(text):
        digits = text.replace("_", "").lower()
        try:
            marked = digits[1:2].isalpha() and digits[1] != "d"
            value = int(digits, 0) if marked else int(digits.removeprefix("0d"))
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


def typed_number(text: str, what: str = "an address") -> int:
    """Return a number of 32 bits that a person typed: ``0x``, ``0b`` or ``0d`` says how to read it.

    Raises
    ------
    ValueError : no number, or digits that are another address in hexadecimal than in decimal
    """
    value = number(text, what)
    if _DIGITS.fullmatch(text) and value > 9:
        raise ValueError(_both_readings(text, value, what))
    return value


def _both_readings(text: str, value: int, what: str = "an address") -> str:
    """Return what digits without a prefix may mean."""
    digits = text.replace("_", "").lstrip("0")
    hexadecimal = f"write 0x{digits} for hexadecimal, or " if int(digits, 16) <= WORD else "write "
    return (
        f"{what} must say how it is read, not {format_value(text)}: {hexadecimal}0d{digits} "
        f"for decimal (which is {value:#010x})"
    )


def step_address(text: str) -> int:
    """Return a word-aligned byte address of a traffic file that people write.

    Eight decimal digits look like the hexadecimal ones of an address, so they must say what they are.
    Fewer are an offset or a count as often as not, and more fit no 32 bits in hexadecimal.

    Raises
    ------
    ValueError : as :func:`address`, or eight digits without ``0x`` or ``0d``
    """
    step_number(text)
    return address(text)


def step_number(text: str) -> int:
    """Return a byte address of a traffic file, as :func:`step_address` does, of any byte.

    Raises
    ------
    ValueError : no number, or eight digits without ``0x`` or ``0d``
    """
    value = number(text, "an address")
    if looks_hexadecimal(text):
        raise ValueError(_both_readings(text, value))
    return value


def looks_hexadecimal(text: str) -> bool:
    """Return whether a text is eight decimal digits, and no more: an address that lacks its ``0x``."""
    return (
        _DIGITS.fullmatch(text) is not None
        and len(text.replace("_", "").lstrip("0")) == ADDRESS_DIGITS
    )


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
