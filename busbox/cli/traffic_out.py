"""What verbs that write traffic share: its format, and what that can hold."""

from __future__ import annotations

from pathlib import Path

from busbox.basics.errors import InputError, Mistake, format_value, join_or
from busbox.formats.contract import Format
from busbox.formats.files import is_traffic, suffixes
from busbox.plugins import FORMATS, find


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


def holds_marks(file: str, chosen: str | None) -> bool:
    """Return whether traffic in a file can have marks: only steps can.

    Parameters
    ----------
    chosen : name of the format; None for that of the suffix
    """
    return chosen == "steps" if chosen else file.endswith((".steps", ".steps.gz"))


def not_traffic(file: str, what: str, *besides: str) -> Mistake | None:
    """Return that the suffix of a file is that of no format of traffic, or None if it is.

    Parameters
    ----------
    what : how messages call the file
    besides : other suffixes that are allowed
    """
    if is_traffic(Path(file)):
        return None
    text = f"must end in {join_or([*suffixes(), *besides])} (traffic may have .gz after it)"
    return Mistake(f"{text}, not {format_value(file)}", what)
