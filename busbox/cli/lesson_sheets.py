"""``busbox lesson --sheets``: pages for paper, one a student, and the answers for the teacher."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape
from pathlib import Path

from busbox.basics.errors import InputError, format_value
from busbox.basics.files import make_folder, replace_file
from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.cli.common import paper
from busbox.cli.lesson_picture import decoding_rows, write_picture
from busbox.cli.writes import no_folder
from busbox.lessons.declaring import Lesson
from busbox.lessons.drawing import Variant, variant
from busbox.lessons.expressions import evaluate, parse
from busbox.lessons.finding import lesson_of, lessons
from busbox.lessons.judging import PASSES, judge
from busbox.lessons.sheet_page import PAPERS, answers_page, bits_table, sheets_page
from busbox.lessons.task_facts import map_of

#: The word for every lesson that comes with Busbox.
ALL = "all"
#: Students of one class, at most: more are a slip of the keys.
MOST_STUDENTS = 1000
#: Columns of a picture in plain characters.
COLUMNS = 90

_RANGE = re.compile(r"(\d{1,9})(?:\.\.(\d{1,9}))?")


def lessons_named(words: Sequence[str], option: str) -> tuple[Lesson, ...]:
    """Return the lessons that the words of a command name: all of them, or one.

    Raises
    ------
    InputError : no or more than one word, or no such lesson
    """
    if len(words) != 1:
        text = f"needs one LESSON, or '{ALL}', not {format_value(' '.join(words))}"
        raise InputError.of(text, option)
    return lessons() if words[0] == ALL else (lesson_of(words[0]),)


def seeds_of(text: str) -> range:
    """Return the seeds of ``1..30``, or of one number.

    Raises
    ------
    InputError : neither, or none, or too many
    """
    found = _RANGE.fullmatch(text)
    first, last = (int(found[1]), int(found[2] or found[1])) if found else (1, 0)
    if not 1 <= first <= last:
        text = f"must be FROM..TO such as 1..30, from 1 on, or a number, not {format_value(text)}"
        raise InputError.of(text, "--seeds")
    if last - first >= MOST_STUDENTS:
        raise InputError.of(f"must be {MOST_STUDENTS:,} seeds at most, not {text}", "--seeds")
    return range(first, last + 1)


def make(words: Sequence[str], seeds: str | None, folder: str) -> int:
    """Write the sheets of a class, and the answers, for each kind of paper.

    Raises
    ------
    InputError : a word or an option is wrong, or a right answer does not pass
    """
    chosen = lessons_named(words, "--sheets")
    if seeds is None:
        raise InputError.of("needs --seeds, such as --seeds 1..30", "--sheets")
    wanted = seeds_of(seeds)
    if problem := no_folder(folder):
        raise InputError.of(problem, "--sheets")
    students = [[played(lesson, seed) for lesson in chosen] for seed in wanted]
    make_folder(Path(folder))
    drawn = picture_of_one if len(chosen) == 1 else picture_in_column
    names = []
    for kind in PAPERS:
        for name, text in (
            (f"sheets_{kind.lower()}.html", sheets_page(students, kind, drawn)),
            (f"answers_{kind.lower()}.html", answers_page(students, kind)),
        ):
            replace_file(Path(folder) / name, text.encode())
            names.append(name)
    page = paper()
    page.line(f"{folder}: {', '.join(names)}", hang=2)
    page.line(
        f"{counted(len(students), 'sheet')}, {counted(len(chosen), 'lesson')} each. Every answer was "
        "played before it was written. Open a file in a browser and print it, at 100 %."
    )
    page.print()
    return 0


def played(lesson: Lesson, seed: int) -> Variant:
    """Return a variant whose right answer passes, played now.

    Raises
    ------
    InputError : it does not pass, or no draw of the seed can be used
    """
    drawn = variant(lesson, seed)
    verdict = judge(lesson, drawn.numbers, lesson.answer(drawn.numbers))
    if verdict.word != PASSES:
        text = f"the right answer of seed {seed} does not pass: {' '.join(verdict.said)}"
        raise InputError.of(text, f"lesson {lesson.number}")
    return drawn


def picture_in_column(one: Variant) -> str:
    """Return what a sheet with all lessons has room for: a grid of bits, or the slots in a line."""
    picture = one.lesson.picture
    if picture.kind == "decode":
        return _grid(one)
    slots = map_of(picture, one.numbers).slots
    if picture.kind == "access" or len(slots) < 2:  # the task says where the only one is
        return ""
    listed = "; ".join(
        f"{slot.name} {slot.base:#010x} to {slot.base + slot.size - 1:#010x}" for slot in slots
    )
    return f'<p class="map">On the bus: {escape(listed)}.</p>'


def picture_of_one(one: Variant) -> str:
    """Return the picture of a task as the terminal shows it, for a sheet with this task only."""
    if one.lesson.picture.kind == "decode":
        return _grid(one)
    page = Paper(width=COLUMNS)
    write_picture(page, one.lesson.picture, one.numbers)
    return f"<pre>{escape(page.text.strip())}</pre>"


def _grid(one: Variant) -> str:
    picture = one.lesson.picture
    address = evaluate(parse(picture.address), one.numbers)
    return bits_table(decoding_rows(map_of(picture, one.numbers), address))
