"""Lessons by number, and one in a file."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from pathlib import Path

from busbox.basics.errors import InputError, format_value
from busbox.basics.loading import load_object
from busbox.lessons.checking import check_lesson
from busbox.lessons.declaring import Lesson

#: Numbers of the lessons that come with Busbox.
NUMBERS = tuple(range(1, 13))


@cache
def lesson(number: int) -> Lesson:
    """Return a lesson that comes with Busbox, by its number from :data:`NUMBERS`."""
    found: Lesson = import_module(f"busbox.lessons.twelve.lesson_{number:02}").LESSON
    return found


def lessons() -> tuple[Lesson, ...]:
    """Return the lessons that come with Busbox, in order."""
    return tuple(lesson(number) for number in NUMBERS)


def lesson_of(text: str) -> Lesson:
    """Return the lesson that a word names: a number, or a Python file with an object ``LESSON``.

    Raises
    ------
    InputError : there is none
    """
    if text in map(str, NUMBERS):
        return lesson(int(text))
    if not text.endswith(".py"):
        known = f"a number from {NUMBERS[0]} to {NUMBERS[-1]}, or a file such as mine.py"
        raise InputError.of(f"a lesson must be {known}, not {format_value(text)}", "lesson")
    path = Path(text)
    found = load_object(f"{path.name}:LESSON", path.parent, "lesson")
    if not isinstance(found, Lesson):
        raise InputError.of(f"LESSON must be a Lesson, not {format_value(found)}", text)
    check_lesson(found, text)
    return found
