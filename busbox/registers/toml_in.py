"""A declaration of registers in TOML: a table for each register, and in it one for each field.

::

    [BRIGHTNESS]
    offset = 0x00
    text = "Brightness of the platform lamps."

    [BRIGHTNESS.LEVEL]
    bits = "7..0"
    reset = 0x20

Keys are strict: an unknown one is refused, with the nearest valid name. The file is TOML 1.0; the keys
are our own. Defaults are those of :class:`~busbox.map.registers.Register` and
:class:`~busbox.map.registers.Field`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busbox.basics.errors import (
    InputError,
    Mistake,
    format_value,
    join_or,
    limited,
    nearest,
    no_file,
)
from busbox.basics.toml_file import read_toml
from busbox.basics.toml_lines import KeyPath, key_lines, line_of
from busbox.map.registers import ACCESS_TYPES, Field, Register, RegisterTable

_NAME = re.compile(r"[A-Za-z_]\w*")
_BITS = re.compile(r"(\d{1,2})(?:\.\.(\d{1,2}))?")
_LANES = re.compile("[01]{4}")


@dataclass(frozen=True)
class Key:
    """A key: what its value must be, in words, and the numbers it may have if it is a number."""

    words: str
    kind: type
    low: int = 0
    high: int = 0xFFFF_FFFF


_ACCESS = Key(join_or(f"'{name}'" for name in ACCESS_TYPES), str)
_TEXT = Key("a string", str)
_RESET = Key("a number from 0 to 0xffffffff", int)
REGISTER_KEYS: Mapping[str, Key] = {
    "offset": Key("a multiple of 4 from 0 to 0xfffffffc", int),
    "access": _ACCESS,
    "text": _TEXT,
    "width": Key("a number of bits from 1 to 32", int, 1, 32),
    "reset": _RESET,
    "count": Key("a number of registers, at least 1", int, 1),
    "lanes": Key("four binary digits such as '1111'", str),
    "kept": Key("true or false", bool),
}
FIELD_KEYS: Mapping[str, Key] = {
    "bits": Key("a bit such as 3, or bits such as '7..0'", object),
    "access": _ACCESS,
    "reset": _RESET,
    "text": _TEXT,
}


def registers_from_toml(path: Path) -> RegisterTable:
    """Return the registers that a TOML file declares.

    Raises
    ------
    InputError : with every mistake in it, each by its line and key
    """
    problem = no_file(path)
    if problem:
        raise InputError.of(problem)
    keys, text = read_toml(path)
    return _Reader(path, key_lines(text)).table(keys)


class _Reader:
    def __init__(self, path: Path, lines: dict[KeyPath, int]) -> None:
        self._path = path
        self._lines = lines
        self._mistakes: list[Mistake] = []

    def table(self, keys: Mapping[str, Any]) -> RegisterTable:
        registers = [self._register(name, value) for name, value in keys.items()]
        if not keys:
            self._refuse((), "must declare a register: [NAME] with offset = ...")
        if not self._mistakes:
            try:
                return RegisterTable(*filter(None, registers))
            except ValueError as error:
                self._refuse((), str(error))
        raise InputError(limited(self._mistakes, str(self._path)))

    def _refuse(self, path: KeyPath, text: str) -> None:
        line = line_of(self._lines, path)
        key = ".".join(map(str, path))
        self._mistakes.append(Mistake(text, str(self._path), line, key))

    def _register(self, name: str, value: Any) -> Register | None:
        if not self._named((name,), name, value, "a register"):
            return None
        before = len(self._mistakes)
        own = {key: one for key, one in value.items() if not isinstance(one, Mapping)}
        given = self._checked((name,), own, REGISTER_KEYS)
        if "offset" not in value:
            self._refuse((name,), "must have an offset")
        elif given.get("offset", 0) % 4:
            self._refuse((name, "offset"), f"must be a multiple of 4, not {given['offset']:#x}")
        fields = [
            self._field((name, key), one)
            for key, one in value.items()
            if isinstance(one, Mapping) and self._is_field((name, key), key)
        ]
        self._whole_value(name, given, bool(fields))
        given["whole"] = self._lanes_of((name, "lanes"), given.pop("lanes", "0000"))
        if len(self._mistakes) > before:
            return None
        try:
            return Register(name=name, fields=tuple(filter(None, fields)), **given)
        except ValueError as error:
            self._refuse((name,), str(error))
            return None

    def _named(self, path: KeyPath, name: str, value: Any, what: str) -> bool:
        if not isinstance(value, Mapping):
            self._refuse(path, f"must be a table, [{name}], that declares {what}")
        elif not _NAME.fullmatch(name):
            self._refuse(
                path,
                "a name may contain only letters, digits and _, and must not start with a digit",
            )
        else:
            return True
        return False

    def _is_field(self, path: KeyPath, key: str) -> bool:
        if key in REGISTER_KEYS:
            self._refuse(path, f"must be {REGISTER_KEYS[key].words}, not a table")
        return key not in REGISTER_KEYS

    def _field(self, path: KeyPath, value: Mapping[str, Any]) -> Field | None:
        before = len(self._mistakes)
        name = str(path[-1])
        self._named(path, name, value, "a field")
        given = self._checked(path, value, FIELD_KEYS)
        if "bits" not in value:
            self._refuse(path, 'must have bits, such as bits = "7..0"')
        high, low = self._bits_of((*path, "bits"), given.pop("bits", 0))
        width = high - low + 1
        if given.get("reset", 0) >> width:
            self._refuse((*path, "reset"), f"must fit into {width} bits, not {given['reset']:#x}")
        return Field(name, high, low, **given) if len(self._mistakes) == before else None

    def _checked(
        self, path: KeyPath, given: Mapping[str, Any], known: Mapping[str, Key]
    ) -> dict[str, Any]:
        """Return the keys whose values are as they must be; refuse the others."""
        found = {}
        for name, value in given.items():
            key = known.get(name)
            if key is None:
                text = f"unknown key{nearest(name, list(known))}"
                self._refuse((*path, name), f"{text} (known: {', '.join(known)})")
            elif not _holds(key, value):
                self._refuse((*path, name), f"must be {key.words}, not {format_value(value)}")
            else:
                found[name] = value
        return found

    def _whole_value(self, name: str, given: Mapping[str, Any], fields: bool) -> None:
        """Check what a register gives for itself only if it has no fields."""
        for key in ("width", "reset"):
            if fields and key in given:
                self._refuse((name, key), "is only allowed in a register without fields")
        if not fields and given.get("reset", 0) >> given.get("width", 32):
            text = f"must fit into {given['width']} bits, not {given['reset']:#x}"
            self._refuse((name, "reset"), text)

    def _lanes_of(self, path: KeyPath, text: str) -> int:
        if not _LANES.fullmatch(text):
            self._refuse(path, f"must be {REGISTER_KEYS['lanes'].words}, not {text!r}")
            return 0
        return int(text, 2)

    def _bits_of(self, path: KeyPath, value: object) -> tuple[int, int]:
        """Return the high and the low bit."""
        found = _BITS.fullmatch(str(value)) if type(value) in (int, str) else None
        high, low = (int(found[1]), int(found[2] or found[1])) if found else (0, 1)
        if not 31 >= high >= low:
            self._refuse(path, f"must be {FIELD_KEYS['bits'].words}, not {format_value(value)}")
            return 31, 0
        return high, low


def _holds(key: Key, value: object) -> bool:
    """Return whether a value is one of a key; true and false are no numbers."""
    if key.kind is int:
        return type(value) is int and key.low <= value <= key.high
    if key is _ACCESS:
        return value in ACCESS_TYPES if isinstance(value, str) else False
    return isinstance(value, key.kind)
