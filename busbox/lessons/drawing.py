"""The variant of a lesson that a seed gives: one that can be solved, found by playing it."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random
from types import MappingProxyType
from typing import TYPE_CHECKING

from busbox.basics.errors import InputError
from busbox.lessons.judging import NOT_YET, PASSES, judge, wrong_answer

if TYPE_CHECKING:
    from collections.abc import Mapping

    from busbox.lessons.declaring import Lesson

#: Draws after which a lesson is given up.
MOST_DRAWS = 100


@dataclass(frozen=True)
class Variant:
    """A lesson with its numbers.

    Attributes
    ----------
    lesson : what is asked
    seed : where the numbers come from
    numbers : what was drawn
    """

    lesson: Lesson
    seed: int
    numbers: Mapping[str, int]


def variant(lesson: Lesson, seed: int) -> Variant:
    """Return the variant of a seed: the first one drawn whose answers are judged as they should be.

    Raises
    ------
    InputError : none of the first draws is such a one; says what was wrong with the last
    """
    random = Random(f"lesson {lesson.number}, seed {seed}")
    why = ""
    for _ in range(MOST_DRAWS):
        numbers = lesson.draw(random)
        why = why_not(lesson, numbers)
        if not why:
            return Variant(lesson, seed, MappingProxyType(numbers))
    text = f"none of {MOST_DRAWS} draws of seed {seed} can be used; of the last one, {why}"
    raise InputError.of(text, f"lesson {lesson.number}")


def why_not(lesson: Lesson, numbers: Mapping[str, int]) -> str:
    """Return why a draw cannot be used, "" if it can: the right answer passes, each wrong one fails.

    Each wrong answer must also get the words of its own misconception.
    """
    verdict = judge(lesson, numbers, lesson.answer(numbers))
    if verdict.word != PASSES:
        return f"the right answer does not pass: {' '.join(verdict.said)}"
    for wrong in lesson.wrong:
        verdict = judge(lesson, numbers, wrong_answer(lesson, numbers, wrong))
        if verdict.word != NOT_YET:
            return f"the wrong answer {wrong.name!r} passes"
        if verdict.wrong != wrong.name:
            return f"the wrong answer {wrong.name!r} is taken for {verdict.wrong!r}"
    return ""
