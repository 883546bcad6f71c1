"""``busbox lesson --collect``: the table of a class."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from busbox.basics.errors import InputError
from busbox.basics.listing import counted
from busbox.cli.common import paper
from busbox.lessons.finding import NUMBERS
from busbox.lessons.progress import read_progress, row_of


def collect(files: Sequence[Path]) -> int:
    """Show what came of each lesson, a row a student.

    Raises
    ------
    InputError : no file is named, one is missing, or one holds something else
    """
    if not files:
        raise InputError.of("needs files of progress, one for each student", "--collect")
    rows = []
    for file in files:
        if not file.is_file():
            raise InputError.of("there is no such file", str(file))
        rows.append(row_of(file.stem, read_progress(file)))
    seen = {lesson for row in rows for lesson in row.cells}
    columns = sorted(seen, key=_order)
    page = paper()
    body: list[list[object]] = [
        [row.student, *(row.cells.get(lesson, "-") for lesson in columns), row.passed]
        for row in rows
    ]
    passed = [sum(row.passes(lesson) for row in rows) for lesson in columns]
    body.append(["passed", *passed, sum(passed)])
    page.table(body, head=["student", *columns, "passed"], numbers=range(1, len(columns) + 2))
    page.line()
    page.line(
        f"{counted(len(rows), 'student')}. A number: passed with that try; in parentheses: tries "
        "that did not pass yet; -: not tried."
    )
    page.print()
    return 0


def _order(lesson: str) -> tuple[int, str]:
    """Order lessons by number, those of files after them."""
    return (0, lesson.rjust(2)) if lesson in map(str, NUMBERS) else (1, lesson)
