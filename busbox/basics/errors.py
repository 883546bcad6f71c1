"""The errors that Busbox raises on purpose.

::

    BusboxError                 anything Busbox refuses; exit code 2 on the command line
      InputError                a bench, traffic, setting or command that cannot be used:
                                one or more mistakes, each with its location
      ModelError                a model broke its contract (section "Contract" of busbox.device)
      EngineError               a system that an engine refuses to run

Every error carries its data as attributes, and its text says what was found, what was expected and,
where there is one, the nearest valid name.
"""

from __future__ import annotations

import difflib
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, time
from itertools import islice
from pathlib import Path
from stat import S_ISDIR, S_ISFIFO, S_ISREG, S_ISSOCK

#: Messages shorten values longer than this.
SHOWN_LENGTH = 60
#: More mistakes than this in one file are counted, not shown.
SHOWN_MISTAKES = 50
#: After so many mistakes, what follows in a file or a list of steps is not looked at.
READ_MISTAKES = 1000
#: A message is cut in the middle that is longer than this.
SHOWN_MESSAGE = 4000
#: Names that a misspelt one is compared with, at most, and the longest name that is.
MOST_NAMES, LONGEST_NAME = 2000, 100


class BusboxError(Exception):
    """Base of every error that Busbox raises on purpose."""


@dataclass(frozen=True)
class Mistake:
    """One thing that is wrong in an input.

    Attributes
    ----------
    text : what was found and what was expected
    where : the file or option that contains it, "" if there is none
    line : line in that file, counted from 1, or None
    key : path of the key in a bench, "" if there is none
    """

    text: str
    where: str = ""
    line: int | None = None
    key: str = ""

    def __str__(self) -> str:
        place = f"{self.where}:{self.line}" if self.line is not None else self.where
        return bounded(": ".join(part for part in (place, self.key, self.text) if part))


class InputError(BusboxError):
    """An input that cannot be used; ``mistakes`` holds every mistake that was found in it."""

    def __init__(self, mistakes: Mistake | Iterable[Mistake]) -> None:
        found = (mistakes,) if isinstance(mistakes, Mistake) else tuple(mistakes)
        super().__init__("\n".join(str(mistake) for mistake in found))
        self.mistakes: tuple[Mistake, ...] = found

    @classmethod
    def of(cls, text: str, where: str = "", line: int | None = None, key: str = "") -> InputError:
        """Return the error of a single mistake."""
        return cls(Mistake(text, where, line, key))


class ModelError(BusboxError):
    """A model broke its contract: an edge in the past, a hold that does not end in the future."""


class EngineError(BusboxError):
    """A system that an engine refuses to run."""


def limited(mistakes: list[Mistake], where: str) -> list[Mistake]:
    """Return the first mistakes, and a count of the rest: if they are many, there may be more."""
    more = len(mistakes) - SHOWN_MISTAKES
    if more <= 0:
        return mistakes
    least = "at least " if len(mistakes) >= READ_MISTAKES else ""
    left = f"and {least}{more} more mistake{'s' if more > 1 else ''}"
    return [*mistakes[:SHOWN_MISTAKES], Mistake(left, where)]


def bounded(text: str) -> str:
    """Return a message without control characters, and without the middle of a very long one."""
    more = len(text) - SHOWN_MESSAGE
    if more > 0:
        half = SHOWN_MESSAGE // 2
        text = f"{text[:half]} ... ({more:,} more characters) ... {text[-half:]}"
    return _CONTROL.sub(lambda found: repr(found[0])[1:-1], text)


#: Characters that act on a terminal: those of C0, C1 and Unicode's for the direction of text. Source:
#: Unicode Standard Annex 9, explicit directional formatting characters.
_CONTROL = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def format_value(value: object) -> str:
    """Return a value for a message: as in a bench file, and shortened if it is long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        text = f"[{', '.join(format_value(item) for item in value)}]"
    elif isinstance(value, date | time):
        text = str(value)
    elif isinstance(value, int):
        text = hex(value) if value.bit_length() > 128 else str(value)
    else:
        text = repr(value)
        if text.startswith("<"):  # Python's own words for an object
            text = f"an instance of {type(value).__name__}"
    return text if len(text) <= SHOWN_LENGTH else text[: SHOWN_LENGTH - 3] + "..."


def no_file(path: Path) -> str | None:
    """Return why ``path`` is not a readable file, with the nearest name, or None if it is one."""
    beside: list[str] = []
    try:
        if path.is_file():
            return None
        if path.is_dir():
            return f"must be a file, not the folder {str(path)!r}"
        special = no_plain_file(path)
        if special:
            return special
        with os.scandir(path.parent) as entries:
            beside = [one.name for one in islice(entries, MOST_NAMES) if one.is_file()]
    except (OSError, ValueError):
        pass
    return f"there is no file {str(path)!r}{nearest(path.name, beside)}"


def no_plain_file(path: Path) -> str | None:
    """Return that ``path`` is a FIFO, a socket or a device, None if it is none: those may never end."""
    try:
        mode = os.stat(path).st_mode
    except (OSError, ValueError):
        return None
    if S_ISREG(mode) or S_ISDIR(mode):
        return None
    kind = "FIFO" if S_ISFIFO(mode) else "socket" if S_ISSOCK(mode) else "device"
    return f"must be a file, not the {kind} {str(path)!r}"


def format_error(error: BaseException) -> str:
    """Return an error of a user's Python code in one line: ``KeyError: 'lever'``."""
    try:
        first = (str(error).splitlines() or [""])[0].strip()
    except Exception:  # its text is code of a user's, too
        first = ""
    return f"{type(error).__name__}: {first}" if first else type(error).__name__


def line_in(error: BaseException, file: str) -> int | None:
    """Return the line of ``file`` in which an error was raised, or None if it was elsewhere."""
    line, step = None, error.__traceback__
    while step is not None:
        if step.tb_frame.f_code.co_filename == file:
            line = step.tb_lineno
        step = step.tb_next
    return line


def nearest(name: str, known: Sequence[str]) -> str:
    """Return ``"; did you mean 'x'?"`` for the known name closest to ``name``, or ``""``.

    A name less than half as long is never suggested: ``as`` for ``lamps``.
    """
    if len(name) > LONGEST_NAME:
        return ""
    near = (one for one in known if len(name) <= 2 * len(one) <= 2 * LONGEST_NAME)
    lowered = {one.lower(): one for one in islice(near, MOST_NAMES)}
    found = difflib.get_close_matches(name.lower(), lowered, n=1, cutoff=0.55)
    return f"; did you mean {lowered[found[0]]!r}?" if found else ""


def join_or(names: Iterable[str]) -> str:
    """Return the names as a readable list: ``a, b or c``."""
    return _join(list(names), "or")


def join_and(names: Iterable[str]) -> str:
    """Return the names as a readable list: ``a, b and c``."""
    return _join(list(names), "and")


def some_of(names: Sequence[str], most: int) -> str:
    """Return the first names as a readable list, and how many more there are: ``a, b and 3 more``."""
    more = len(names) - most
    return f"{', '.join(names[:most])} and {more} more" if more > 0 else join_and(names)


def _join(names: list[str], word: str) -> str:
    if len(names) < 2:
        return "".join(names) or "nothing"
    return f"{', '.join(names[:-1])} {word} {names[-1]}"
