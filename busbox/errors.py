"""The errors that Busbox raises on purpose.

::

    BusboxError                 anything Busbox says no to; exit code 2 on the command line
      InputError                a bench, traffic, setting or command that cannot be used:
                                one or more mistakes, each with its place
      ModelError                a model broke its contract (section "Contract" of busbox.device)
      EngineError               a system that an engine refuses to run

Every error carries its data as attributes, and its text says what was found, what was expected and,
where there is one, the nearest valid name.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


class BusboxError(Exception):
    """Base of every error that Busbox raises on purpose."""


@dataclass(frozen=True)
class Mistake:
    """One thing that is wrong in an input.

    Attributes
    ----------
    text : what was found and what was expected
    where : the file or option it stands in, "" if there is none
    line : line in that file, counted from 1, or None
    key : path of the key in a bench, "" if there is none
    """

    text: str
    where: str = ""
    line: int | None = None
    key: str = ""

    def __str__(self) -> str:
        place = f"{self.where}:{self.line}" if self.line is not None else self.where
        return ": ".join(part for part in (place, self.key, self.text) if part)


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
    """A model broke its contract: an edge in the past, a hold that has no end in the future."""


class EngineError(BusboxError):
    """A system that this engine does not run."""


def nearest(name: str, known: Sequence[str]) -> str:
    """Return ``"; did you mean 'x'?"`` for the known name closest to ``name``, or ``""``."""
    lowered = {candidate.lower(): candidate for candidate in known}
    found = difflib.get_close_matches(name.lower(), lowered, n=1, cutoff=0.55)
    return f"; did you mean {lowered[found[0]]!r}?" if found else ""


def one_of(names: Iterable[str]) -> str:
    """Return the names as a readable list: ``a, b or c``."""
    listed = list(names)
    if len(listed) < 2:
        return "".join(listed) or "nothing"
    return ", ".join(listed[:-1]) + " or " + listed[-1]
