"""Values of a bench that the command line changes: ``--set KEY=VALUE``."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from typing import Any

from busbox.basics.errors import InputError, Mistake
from busbox.bench.toml_lines import KeyPath


def with_values(
    keys: Mapping[str, Any], values: Iterable[str]
) -> tuple[dict[str, Any], set[KeyPath]]:
    """Return the keys with values changed, and the paths that were changed or made.

    Parameters
    ----------
    values : each ``KEY=VALUE``; KEY is a path such as ``slot.lamps.base`` or ``input.0.at``, VALUE is
        TOML, else text

    Raises
    ------
    InputError : no such place in the bench
    """
    changed, paths = _copied(dict(keys)), set()
    mistakes: list[Mistake] = []
    for value in values:
        try:
            paths.add(_put(changed, value))
        except InputError as error:
            mistakes.extend(error.mistakes)
    if mistakes:
        raise InputError(mistakes)
    return changed, paths


def _copied(value: Any) -> Any:
    """Return a copy of tables and lists, as deep as they go."""
    if isinstance(value, dict):
        return {key: _copied(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_copied(item) for item in value]
    return value


def _put(keys: dict[str, Any], given: str) -> KeyPath:
    """Change one value in place; return its path, or that of the first table made for it."""
    key, sign, text = given.partition("=")
    parts = key.strip().split(".")
    if not sign or not all(parts):
        raise InputError.of(
            f"must be KEY=VALUE such as slot.lamps.base=0x1000, not {given!r}", "--set"
        )
    node: Any = keys
    path: KeyPath = ()
    made: KeyPath = ()
    for part in parts[:-1]:
        path = (*path, _item(node, path, part, key.strip()))
        if isinstance(node, dict) and path[-1] not in node:
            made = made or path
            node[path[-1]] = {}
        node = node[path[-1]]
    path = (*path, _item(node, path, parts[-1], key.strip()))
    if isinstance(node, dict) and path[-1] not in node:
        made = made or path
    node[path[-1]] = toml_value(text.strip())
    return made or path


def _item(node: object, path: KeyPath, part: str, key: str) -> str | int:
    """Return the key or number by which a part of ``key`` is found in what stands at ``path``."""
    if isinstance(node, dict):
        return part
    if not isinstance(node, list):
        name = ".".join(map(str, path))
        text = f"{name} is a value, not a table that could hold {part!r}"
        raise InputError.of(text, "--set", key=key)
    if part not in map(str, range(len(node))):
        raise InputError.of(_no_item(path, part, len(node)), "--set", key=key)
    return int(part)


def _no_item(path: KeyPath, part: str, count: int) -> str:
    name = ".".join(map(str, path))
    if not count:
        return f"there is no item {part!r}: {name} is empty"
    known = "item 0 only" if count == 1 else f"items 0 to {count - 1}"
    return f"there is no item {part!r}: {name} has {known}"


def toml_value(text: str) -> Any:
    """Return what a value of the command line means: TOML, else the text itself."""
    try:
        values = tomllib.loads(f"value = {text}")
    except (ValueError, RecursionError):
        return text
    return values["value"] if len(values) == 1 else text
