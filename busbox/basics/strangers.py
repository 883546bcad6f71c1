"""Benches of strangers: code that is refused, and files that lie outside of a bench's folder.

What a user allows or refuses is in the environment, so that the processes that a command starts know it
too; the options ``--no-plugins`` and ``--allow-outside`` set these variables for one command.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from pathlib import Path

from busbox.basics.errors import InputError, format_value
from busbox.basics.toml_lines import KeyPath

#: Options, and the environment variable that each sets.
NO_PLUGINS, ALLOW_OUTSIDE = "--no-plugins", "--allow-outside"
VARIABLES: Mapping[str, str] = {
    NO_PLUGINS: "BUSBOX_NO_PLUGINS",
    ALLOW_OUTSIDE: "BUSBOX_ALLOW_OUTSIDE",
}
#: Tables of a bench whose strings name no files.
_NO_FILES = ("expect", "input", "reply", "variant", "sweep")


def refuse_code(name: str) -> None:
    """Refuse code that does not come with Busbox, if the user wants none.

    Raises
    ------
    InputError : ``--no-plugins`` was given
    """
    if os.environ.get(VARIABLES[NO_PLUGINS]):
        raise InputError.of(f"{format_value(name)} is code, and {NO_PLUGINS} refuses all code "
                            "that does not come with Busbox")  # fmt: skip


def outside_allowed() -> bool:
    """Return whether a bench may name files outside of its folder."""
    return bool(os.environ.get(VARIABLES[ALLOW_OUTSIDE]))


def files_outside(
    keys: Mapping[str, object], folder: Path, root: Path
) -> Iterator[tuple[KeyPath, str]]:
    """Yield the path and the value of each key of a bench that names what lies outside of ``root``.

    Links are followed. A text that names nothing that exists is no name of a file.

    Parameters
    ----------
    folder : where names are looked up
    """
    real = os.path.realpath(root)
    for path, text in _texts(keys, ()):
        if path[0] not in _NO_FILES and _leads_outside(text, folder, real):
            yield path, text


def _texts(value: object, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    if isinstance(value, str):
        yield path, value
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _texts(inner, (*path, key))
    elif isinstance(value, list | tuple):
        for number, inner in enumerate(value):
            yield from _texts(inner, (*path, number))


def _leads_outside(text: str, folder: Path, real: str) -> bool:
    for name in dict.fromkeys((text, text.rpartition(":")[0])):
        if not name or "\0" in name:
            continue
        place = os.path.join(folder, name)
        try:
            found = os.path.lexists(place) and os.path.realpath(place)
        except (OSError, ValueError):
            continue
        if found and found != real and not found.startswith(real.rstrip(os.sep) + os.sep):
            return True
    return False
