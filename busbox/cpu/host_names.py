"""How a driver in C is named and played: what a bench needs to know without one."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePath

from busbox.basics.errors import InputError, format_value

#: Suffixes of shared libraries.
SUFFIXES = (".so", ".dylib", ".dll")
#: An identifier of C, with the $ that many compilers allow.
_IDENTIFIER = re.compile(r"[A-Za-z_$][A-Za-z0-9_$]*")
#: Seconds of the machine's time that a driver may run without an access.
PATIENCE = 10.0


@dataclass(frozen=True)
class Pace:
    """How a driver is played.

    Attributes
    ----------
    idle : cycles between two accesses
    patience : seconds of the machine's time that it may run without an access
    """

    idle: int = 0
    patience: float = PATIENCE


def names_driver(name: str) -> bool:
    """Return whether a name has the form ``driver.so:main``: a function in a library."""
    file, colon, _ = name.rpartition(":")
    return bool(colon) and file.lower().endswith(SUFFIXES)


def library_and_function(name: str) -> tuple[str, str] | None:
    """Return library and function of ``driver.so:main``; None if a file is not such a library.

    Raises
    ------
    InputError : it is one, but no function is named
    """
    if names_driver(name):
        file, _, function = name.rpartition(":")
        if _IDENTIFIER.fullmatch(function) is None:
            raise InputError.of(
                f"must name a function of C behind the colon, such as 'main', not "
                f"{format_value(function)}"
            )
        return file, function
    if name.lower().endswith(SUFFIXES):
        example = f"{PurePath(name).name}:main"
        raise InputError.of(f"must name the function too, such as {example!r}, not {name!r}")
    return None
