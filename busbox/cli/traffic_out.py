"""What verbs that write traffic share: its format, and what that can hold."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import click

from busbox.basics.errors import InputError, Mistake, format_value, join_or
from busbox.cli import completing
from busbox.formats.contract import Format
from busbox.formats.csv import CSV
from busbox.formats.files import format_of, is_traffic
from busbox.formats.text import STEPS
from busbox.plugins import FORMATS, find

#: What an option decorates.
Decorated = TypeVar("Decorated", bound=Callable[..., Any])


def to_option(what: str) -> Callable[[Decorated], Decorated]:
    """Return the option ``--to``: the format of what is written."""
    return click.option(
        "--to",
        "write_as",
        metavar="FORMAT",
        shell_complete=completing.named(FORMATS),
        help=f"Format of {what}, whatever its suffix.",
    )


def format_option(name: str | None, option: str) -> Format | None:
    """Return the format that an option names.

    Raises
    ------
    InputError : there is no such format
    """
    if name is None:
        return None
    try:
        found: Format = find(FORMATS, name)
    except InputError as error:
        raise InputError(Mistake(str(one), option) for one in error.mistakes) from None
    return found


def holds_marks(file: str, chosen: Format | None) -> bool:
    """Return whether traffic in a file can have marks.

    Parameters
    ----------
    chosen : the format; None for that of the suffix
    """
    return (chosen or format_of(Path(file))) in (STEPS, CSV)


def not_traffic(file: str, what: str, allowed: Iterable[str]) -> Mistake | None:
    """Return that the suffix of a file is that of no format of traffic, or None if it is.

    Parameters
    ----------
    what : how messages call the file
    allowed : the suffixes that it may have
    """
    if is_traffic(Path(file)):
        return None
    text = f"must end in {join_or(allowed)} (traffic may have .gz after it)"
    return Mistake(f"{text}, not {format_value(file)}", what)
