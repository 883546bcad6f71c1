"""Whether a class that did not come with Busbox can stand in a slot."""

from __future__ import annotations

from typing import Any

from busbox.basics.errors import InputError, format_value

_METHODS = (
    "check", "table_for", "pins_for", "access", "input", "wake", "advance", "close", "reset",
    "next_edge", "rest_at", "registers",
)  # fmt: skip
_VALUES = ("settings", "sends", "in_amaranth")


def check_device(name: str, found: Any) -> None:
    """Refuse what lacks a part of the contract (:mod:`busbox.device.contract`).

    A device in Amaranth is checked where it is built.

    Raises
    ------
    InputError : it is no class, or lacks something
    """
    if not isinstance(found, type):
        raise InputError.of(f"{name!r} must be a class, not {format_value(found)}")
    if getattr(found, "in_amaranth", False):
        return
    missing = [method for method in _METHODS if not callable(getattr(found, method, None))]
    missing += [value for value in _VALUES if not hasattr(found, value)]
    if missing:
        raise InputError.of(
            f"{name!r} must be a model: it lacks {', '.join(missing)} "
            "(busbox.device.RegisterModel is a base class that has them all)"
        )
