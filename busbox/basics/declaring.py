"""Checks for what an author declares, made where it is declared; messages list the valid names."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import fields
from functools import wraps
from typing import Any, TypeVar

from busbox.basics.errors import ModelError, format_value, join_or, nearest

_Declared = TypeVar("_Declared")
_Value = TypeVar("_Value")


def known(name: object, names: Collection[str]) -> str:
    """Return the end of a message about an unknown name: the nearest one, and all valid ones."""
    close = nearest(name, list(names)) if isinstance(name, str) else ""
    return f"{close} (known: {join_or(names)})" if names else " (none is declared)"


def with_known_keywords(declared: type[_Declared]) -> type[_Declared]:
    """Let a dataclass refuse a keyword that it does not have with a list of those that it has."""
    names = [one.name for one in fields(declared)]  # type: ignore[arg-type]
    plain = declared.__init__

    @wraps(plain)
    def checked(self: Any, *given: Any, **keywords: Any) -> None:
        for keyword in keywords:
            if keyword not in names:
                raise TypeError(
                    f"{declared.__name__} has no keyword {keyword!r}{known(keyword, names)}"
                )
        plain(self, *given, **keywords)

    declared.__init__ = checked  # type: ignore[method-assign]
    return declared


def check_choice(what: str, given: object, choices: Collection[str]) -> None:
    """Refuse a word that is none of some.

    Raises
    ------
    ValueError : it is none of them
    """
    if not isinstance(given, str) or given not in choices:
        close = nearest(given, list(choices)) if isinstance(given, str) else ""
        raise ValueError(
            f"{what} must be one of {', '.join(choices)}, not {format_value(given)}{close}"
        )


def check_number(what: str, given: object, low: int, high: int) -> None:
    """Refuse what is no whole number from ``low`` to ``high``.

    Raises
    ------
    ValueError : it is none
    """
    if type(given) is not int or not low <= given <= high:
        raise ValueError(
            f"{what} must be a whole number from {low} to {high:_}, not {format_value(given)}"
        )


def check_name(what: str, given: object, example: str) -> None:
    """Refuse what is no name.

    Raises
    ------
    ValueError : it is no text, or empty
    """
    if not isinstance(given, str) or not given:
        raise ValueError(f"{what} must be a string such as {example!r}, not {format_value(given)}")


def each(what: str, given: object, kind: type[_Value]) -> tuple[_Value, ...]:
    """Return a list or tuple of things of one kind, as a tuple.

    Raises
    ------
    ValueError : it is something else, such as one thing in brackets without a comma
    """
    name = kind.__name__
    if isinstance(given, kind):
        raise ValueError(f"{what} must be a tuple; a single one needs a comma: ({name}(...),)")
    if not isinstance(given, tuple | list) or not all(isinstance(one, kind) for one in given):
        found: Iterable[object] = given if isinstance(given, tuple | list) else [given]
        wrong = next(one for one in found if not isinstance(one, kind))
        raise ValueError(
            f"{what} must be a tuple of {name} objects, such as ({name}(...), {name}(...)); found "
            f"{format_value(wrong)}"
        )
    return tuple(given)


class Named(dict[str, _Value]):
    """Values by name; the error for an unknown name lists the valid ones.

    Parameters
    ----------
    what : such as ``dimmer has no register``
    """

    def __init__(self, what: str, values: dict[str, _Value]) -> None:
        super().__init__(values)
        self._what = what

    def __missing__(self, name: str) -> _Value:
        raise ModelError(f"{self._what} {name!r}{known(name, self)}")

    def __reduce__(self) -> tuple[Any, ...]:
        return Named, (self._what, dict(self))
