"""The keys of ``[traffic]`` for a driver in C: what it is played with."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from busbox.basics.errors import InputError, format_value
from busbox.basics.keys import Key
from busbox.basics.strangers import refuse_code
from busbox.bench.context import Context
from busbox.cpu.host_names import PATIENCE, Pace
from busbox.map.registers import WORD

if TYPE_CHECKING:
    from busbox.cpu.host_driver import HostDriver

#: Keys of the table beside ``file``.
KEYS: Mapping[str, Key] = {
    "idle": Key("Idle cycles before each access of a driver in C.", "a whole number, 0 or more",
                "20", unit="cycles", default="0"),
    "patience": Key("How long a driver in C may run without an access, in this machine's time.",
                    "a number above 0, and at most 86,400", "60", unit="seconds",
                    default=f"{PATIENCE:g}"),
}  # fmt: skip
#: The longest patience: a day.
LONGEST = 86_400


def pace_of(table: Mapping[str, object], context: Context) -> Pace | None:
    """Return how a table has a driver in C played; None if it does not say, or not rightly."""
    idle, patience = table.get("idle", 0), table.get("patience", PATIENCE)
    fine = True
    if type(idle) is not int or not 0 <= idle <= WORD:
        fine = _note("idle", idle, context)
    if type(patience) not in (int, float) or not 0 < patience <= LONGEST:  # type: ignore[operator]
        fine = _note("patience", patience, context)
    if not fine or not KEYS.keys() & table.keys():
        return None
    return Pace(idle, float(patience))  # type: ignore[arg-type]


def _note(key: str, value: object, context: Context) -> bool:
    context.mistakes.note(("traffic", key), f"must be {KEYS[key].kind}, not {format_value(value)}")
    return False


def opened_driver(
    file: str, function: str, folder: Path, pace: Pace | None
) -> tuple[HostDriver, str]:
    """Return the driver in a library, and the library's path if it has lines, else "".

    Raises
    ------
    InputError : there is no such file
    """
    from busbox.cpu.host_driver import HostDriver  # late: few benches have such a driver
    from busbox.cpu.host_library import HostLibrary

    refuse_code(file)
    path = folder / file
    if not os.path.lexists(path) and (path.parent / "Makefile").is_file():
        text = f"there is no file {file!r}; a Makefile in that folder may compile it"
        raise InputError.of(text)
    library = HostLibrary(path, file)
    driver = HostDriver(library, function, pace or Pace())
    return driver, str(library.path) if library.has_lines else ""
