"""Values of a bench that are changed: ``--set KEY=VALUE``, and variants that the bench names."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from busbox.basics.errors import InputError, Mistake, format_value, join_or, nearest
from busbox.basics.limits import NESTING
from busbox.basics.toml_file import check_nesting
from busbox.basics.toml_lines import KeyPath
from busbox.map.addresses import looks_hexadecimal

#: The key that stands for a variant of the bench: ``variant=slow``.
VARIANT = "variant"
#: Keys whose values are addresses.
_BASE = re.compile(r"slot\.\w+\.base")
#: Where a change comes from, for messages: a file and its line, or an option and None.
Origin = tuple[str, int | None]


@dataclass(frozen=True)
class Change:
    """One changed value.

    Attributes
    ----------
    key : a path such as ``slot.lamps.base`` or ``input.0.at``
    value : the new value
    origin : where it comes from
    """

    key: str
    value: Any
    origin: Origin

    @classmethod
    def of(cls, given: str, option: str) -> Change:
        """Return what ``KEY=VALUE`` says.

        Raises
        ------
        InputError : it has another form
        """
        key, sign, text = given.partition("=")
        NESTING.check(key.count("."), "a key", option)
        if not sign or not all(key.strip().split(".")):
            raise InputError.of(
                f"must be KEY=VALUE such as slot.lamps.base=0x1000, not {given!r}", option
            )
        if _BASE.fullmatch(key.strip()) and looks_hexadecimal(text.strip()):
            digits = text.strip()
            raise InputError.of(
                f"must say how it is read, not {digits}: write 0x{digits}, or "
                f"{int(digits.replace('_', '')):#010x} if it is decimal",
                option,
                key=key.strip(),
            )
        return cls(key.strip(), toml_value(text.strip()), (option, None))


def with_changes(
    keys: Mapping[str, Any],
    changes: Iterable[Change | str],
    place: Callable[[KeyPath], Origin],
    option: str = "--set",
) -> tuple[dict[str, Any], dict[KeyPath, Origin]]:
    """Return the keys with values changed, and the paths that were changed or made.

    Parameters
    ----------
    changes : in the order in which they are made, those of ``option`` as text; that of the key
        ``variant`` stands for all those that the bench keeps under that name
    place : gives the file and the line of a key

    Raises
    ------
    InputError : no such place in the bench, or no such variant
    """
    changed: dict[str, Any] = _copied(dict(keys))
    paths: dict[KeyPath, Origin] = {}
    mistakes: list[Mistake] = []
    for one in changes:
        try:
            given = Change.of(one, option) if isinstance(one, str) else one
            for change in _named(keys, given, place) if given.key == VARIANT else (given,):
                paths[_put(changed, change)] = change.origin
        except InputError as error:
            mistakes.extend(error.mistakes)
    if mistakes:
        raise InputError(mistakes)
    return changed, paths


def _named(
    keys: Mapping[str, Any], given: Change, place: Callable[[KeyPath], Origin]
) -> Iterator[Change]:
    """Yield the changes of a variant that the bench names."""
    variants, name = keys.get(VARIANT, {}), given.value
    if not isinstance(variants, Mapping):
        variants = {}
    if not isinstance(name, str) or name not in variants:
        shown = format_value(name)
        known = (
            f" (known: {join_or(variants)})" if variants else ": the bench has no [variant.NAME]"
        )
        near = nearest(shown, list(variants))
        text = f"there is no variant {shown}{near}{known}"
        where, line = given.origin
        raise InputError.of(text, "--variant" if where == "--set" else where, line)
    where, line = place((VARIANT, name))
    if not isinstance(variants[name], Mapping):
        text = f"must be a table of keys and values, not {format_value(variants[name])}"
        raise InputError.of(text, where, line, key=f"{VARIANT}.{name}")
    for path, at, value in _leaves(variants[name]):
        if not all(path):
            text = f"must be a path of keys such as slot.lamps.wait, not {'.'.join(path)!r}"
            raise InputError.of(text, where, line, key=f"{VARIANT}.{name}")
        yield Change(".".join(path), value, place((VARIANT, name, *at)))


def _leaves(
    table: Mapping[str, Any],
) -> Iterator[tuple[tuple[str, ...], tuple[str, ...], Any]]:
    """Yield path, keys as written and value of each value of a table; a key may be a path itself."""
    for key, value in table.items():
        path = tuple(str(key).split("."))
        if not isinstance(value, Mapping):
            yield path, (key,), value
            continue
        for inner, keys, leaf in _leaves(value):
            yield (*path, *inner), (key, *keys), leaf


def _copied(value: Any) -> Any:
    """Return a copy of tables and lists, as deep as they go."""
    if isinstance(value, dict):
        return {key: _copied(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_copied(item) for item in value]
    return value


def _put(keys: dict[str, Any], change: Change) -> KeyPath:
    """Change one value in place; return its path, or that of the first table made for it."""
    parts = change.key.split(".")
    node: Any = keys
    path: KeyPath = ()
    made: KeyPath = ()
    for part in parts[:-1]:
        path = (*path, _item(node, path, part, change))
        if isinstance(node, dict) and path[-1] not in node:
            made = made or path
            node[path[-1]] = {}
        node = node[path[-1]]
    path = (*path, _item(node, path, parts[-1], change))
    if isinstance(node, dict) and path[-1] not in node:
        made = made or path
    node[path[-1]] = change.value
    return made or path


def _item(node: object, path: KeyPath, part: str, change: Change) -> str | int:
    """Return the key or number by which a part of a key is found in what stands at ``path``."""
    if isinstance(node, dict):
        return part
    if not isinstance(node, list):
        name = ".".join(map(str, path))
        text = f"{name} is a value, not a table that could hold {part!r}"
        raise InputError.of(text, *change.origin, key=change.key)
    if part not in map(str, range(len(node))):
        raise InputError.of(_no_item(path, part, len(node)), *change.origin, key=change.key)
    return int(part)


def _no_item(path: KeyPath, part: str, count: int) -> str:
    name = ".".join(map(str, path))
    if not count:
        return f"there is no item {part!r}: {name} is empty"
    known = "item 0 only" if count == 1 else f"items 0 to {count - 1}"
    return f"there is no item {part!r}: {name} has {known}"


def toml_value(text: str) -> Any:
    """Return what a value of the command line means: TOML, else the text itself.

    A list may hold words without quotes, as in ``[telegraph, lamps]``.
    """
    try:
        values = tomllib.loads(f"value = {text}")
        check_nesting(values, "")
    except RecursionError:
        raise InputError.of(NESTING.exceeded("a value")) from None
    except ValueError:
        if text.startswith("[") and text.endswith("]") and "[" not in text[1:]:
            return [toml_value(item.strip()) for item in text[1:-1].split(",")]
        return text
    return values["value"] if len(values) == 1 else text
