"""What a student has tried: a text file with a line a check, and the table of a class.

A line has six columns, separated by tabs: time (UTC), lesson, seed, try, verdict, words.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from busbox.basics.errors import InputError, format_value
from busbox.basics.files import text_lines
from busbox.lessons.judging import NOT_READABLE, NOT_YET, PASSES

#: Tries of a variant before the worked solution is shown.
TRIES = 3
#: The file, if no other is named.
FILE = "lesson_progress.txt"
_COLUMNS = 6
#: A seed, or the number of a try.
_NUMBER = re.compile(r"[0-9]{1,18}")


@dataclass(frozen=True)
class Check:
    """One line of the file.

    Attributes
    ----------
    time : such as 2026-05-04T10:15:00Z
    lesson : its number, or the name of its file
    seed : of the variant
    attempt : the number of the try, from 1
    verdict : passes, not yet or not readable
    words : what was said
    """

    time: str
    lesson: str
    seed: int
    attempt: int
    verdict: str
    words: str


def tries(checks: Iterable[Check], lesson: str, seed: int) -> int:
    """Return how many tries of a variant did not pass; an answer that is not readable is no try."""
    wanted = (lesson, seed, NOT_YET)
    return sum((check.lesson, check.seed, check.verdict) == wanted for check in checks)


def read_progress(path: Path) -> list[Check]:
    """Return the checks in a file; none if there is no such file.

    Raises
    ------
    InputError : it cannot be read, or a line of it is none
    """
    if not os.path.lexists(path):
        return []
    lines = enumerate(text_lines(path), 1)
    return [_check(line, path, place) for place, line in lines if line.strip()]


def _check(line: str, path: Path, place: int) -> Check:
    parts = line.split("\t")
    verdicts = (PASSES, NOT_YET, NOT_READABLE)
    numbers = [part for part in parts[2:4] if _NUMBER.fullmatch(part)]
    if len(parts) != _COLUMNS or len(numbers) != 2 or parts[4] not in verdicts:
        text = (
            "must be time, lesson, seed, try, verdict and words, separated by tabs, not "
            f"{format_value(line)}"
        )
        raise InputError.of(text, str(path), place)
    return Check(parts[0], parts[1], int(parts[2]), int(parts[3]), parts[4], parts[5])


def add_check(
    path: Path, lesson: str, seed: int, attempt: int, verdict: str, words: Sequence[str]
) -> None:
    """Write a check to the end of a file.

    Raises
    ------
    InputError : the file cannot be written
    """
    time = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    text = " ".join(" ".join(words).split())
    line = "\t".join((time, lesson, str(seed), str(attempt), verdict, text))
    try:
        with path.open("a", encoding="utf-8", newline="\n") as file:
            file.write(f"{line}\n")
    except OSError as error:
        raise InputError.of(f"cannot be written: {error.strerror}", str(path)) from None


@dataclass(frozen=True)
class Row:
    """A student in the table of a class.

    Attributes
    ----------
    student : name of the file without its suffix
    cells : lesson to what came of it: the number of the try that passed, or the tries so far in
        parentheses
    """

    student: str
    cells: dict[str, str]

    @property
    def passed(self) -> int:
        """How many lessons were passed."""
        return sum(map(self.passes, self.cells))

    def passes(self, lesson: str) -> bool:
        """Return whether a lesson was passed."""
        return not self.cells.get(lesson, "(").startswith("(")


def row_of(student: str, checks: Iterable[Check]) -> Row:
    """Return a student's row: of each lesson, what came of the best variant."""
    passed: dict[str, int] = {}
    tried: dict[str, int] = {}
    for check in checks:
        if check.verdict == PASSES:
            passed[check.lesson] = min(check.attempt, passed.get(check.lesson, check.attempt))
        elif check.verdict == NOT_YET:
            tried[check.lesson] = tried.get(check.lesson, 0) + 1
    cells = {lesson: f"({count})" for lesson, count in tried.items()}
    return Row(student, cells | {lesson: str(attempt) for lesson, attempt in passed.items()})
