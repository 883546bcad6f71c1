"""Checks whether a class that is not built in can be used in a slot."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from busbox.basics.declaring import each, known
from busbox.basics.errors import InputError, format_value
from busbox.basics.hooks import whole
from busbox.device.bases import RegisterModel
from busbox.device.contract import has_one_table
from busbox.device.pins import Pin
from busbox.device.settings import Setting
from busbox.map.registers import RegisterTable

_METHODS = (
    "check", "table_for", "pins_for", "access", "input", "wake", "advance", "close", "reset",
    "next_edge", "rest_at", "registers",
)  # fmt: skip
#: Bits of a note.
MOST_BITS = 4096
_VALUES = ("settings", "sends", "in_amaranth")
#: The hooks of a model that belong to a register.
_HOOK = re.compile(r"(show|read|write|cacheable_until)_([A-Za-z]\w*)")


def check_device(name: str, found: Any) -> None:
    """Refuse what lacks a part of the contract (:mod:`busbox.device.contract`).

    A device in Amaranth is checked where it is built.

    Raises
    ------
    InputError : it is not a class, or lacks something
    """
    if not isinstance(found, type):
        raise InputError.of(f"{name!r} must be a class, not {format_value(found)}")
    _check_declared(name, found)
    if getattr(found, "in_amaranth", False):
        return
    missing = [method for method in _METHODS if not callable(getattr(found, method, None))]
    missing += [value for value in _VALUES if not hasattr(found, value)]
    if missing:
        raise InputError.of(
            f"{name!r} must be a model: it lacks {', '.join(missing)} "
            "(the base class busbox.RegisterModel has them all)"
        )
    if has_one_table(found):
        check_hooks(name, found, getattr(found, "table", RegisterTable()))


def _check_declared(name: str, found: Any) -> None:
    """Refuse settings, pins or registers of another kind."""
    try:
        each("its settings", getattr(found, "settings", ()), Setting)
        check_parts(getattr(found, "table", RegisterTable()), getattr(found, "pins", ()))
    except ValueError as error:
        raise InputError.of(f"{name!r}: {error}") from None


def check_parts(table: object, pins: object) -> None:
    """Refuse registers that are not a table, and pins that are not pins.

    Raises
    ------
    ValueError : they are something else
    """
    check_registers(table)
    check_pins(pins)


def check_registers(table: object) -> None:
    """Refuse registers that are not a table.

    Raises
    ------
    ValueError : they are something else
    """
    if not isinstance(table, RegisterTable):
        raise ValueError(
            f"its registers must be a RegisterTable(Register(...), ...), not {format_value(table)}"
        )


def check_pins(pins: object) -> None:
    """Refuse pins that are not pins.

    Raises
    ------
    ValueError : they are something else
    """
    each("its pins", pins, Pin)


def check_resets(resets: object) -> None:
    """Refuse reset values that are not words by the names of registers.

    Raises
    ------
    ValueError : they are something else
    """
    fine = isinstance(resets, Mapping) and all(
        isinstance(name, str) and whole(word) is not None for name, word in resets.items()
    )
    if not fine:
        raise ValueError(
            f"its resets must be a table of registers and words, not {format_value(resets)}"
        )


def _widths(said: Any) -> str:
    fine = isinstance(said, Mapping) and all(
        isinstance(name, str) and 0 < (whole(bits) or 0) <= MOST_BITS for name, bits in said.items()
    )
    return "" if fine else f"a table of names and widths, 1 to {MOST_BITS:,} bits"


def _texts(said: Any) -> str:
    fine = isinstance(said, tuple | list) and all(isinstance(one, str) for one in said)
    return "" if fine else "a tuple of texts"


#: What a class of hardware says of itself: the method, and what returns why its answer is none, or "".
HARDWARE_SAYS: Mapping[str, Callable[[Any], str]] = {
    "note_widths": _widths,
    "notes_for": _texts,
    "undefined_for": _texts,
}


def check_hooks(name: str, found: type, table: RegisterTable) -> None:
    """Refuse a hook such as ``write_LEVEL`` of a model that has no register of that name.

    Methods in lower case are allowed, unless their names match that of a register in other case.

    Raises
    ------
    InputError : it has such a hook
    """
    if not issubclass(found, RegisterModel):
        return
    registers = [one.name for one in table]
    capitals = {one.upper() for one in registers}
    for method in dir(found):
        hook = _HOOK.fullmatch(method)
        if hook is None or hook[2] in registers or not callable(getattr(found, method)):
            continue
        if hook[2].isupper() or hook[2].upper() in capitals:
            there = known(hook[2], registers)
            raise InputError.of(
                f"{name!r} has a method {method}, but no register {hook[2]!r}{there}"
            )
