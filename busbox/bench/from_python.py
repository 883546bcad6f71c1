"""What only a bench from Python can hold, and no bench file: keys that are no text, and arrays."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from busbox.basics.errors import format_value
from busbox.basics.limits import NESTING
from busbox.basics.toml_lines import KeyPath
from busbox.bench.mistakes import Mistakes


def check_values(keys: Mapping[Any, Any], mistakes: Mistakes) -> None:
    """Refuse what could not stand in a bench file and is no object of its own, such as a model.

    Raises
    ------
    InputError : with each key that is no text and each array
    """
    for path, text in _wrong(keys, ()):
        mistakes.note(path, text)
    mistakes.raise_any()


def _wrong(value: Any, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    """Yield the place and the text of each mistake in a table or a list."""
    if len(path) > NESTING.most:
        yield path[:1], NESTING.exceeded("tables and lists in each other")
    elif hasattr(value, "__array__") and hasattr(value, "shape") and not _is_number(value):
        kind = type(value).__name__
        yield path, f"must be a value as a bench file has it, such as a list, not a {kind}"
    elif isinstance(value, Mapping):
        for key, inner in value.items():
            if isinstance(key, str) and key.isprintable():
                yield from _wrong(inner, (*path, key))
            else:
                yield path, f"keys must be printable text, not {format_value(key)}"
    elif isinstance(value, list | tuple) and path != ("traffic",):  # steps may be millions
        for number, inner in enumerate(value):
            if isinstance(inner, Mapping | list | tuple) or hasattr(inner, "__array__"):
                yield from _wrong(inner, (*path, number))


def _is_number(value: Any) -> bool:
    """Return whether a value of NumPy is a single number: what its key says of it is clear."""
    return not hasattr(value, "__setitem__")
