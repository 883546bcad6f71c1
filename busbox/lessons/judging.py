"""An answer judged: by rules before any run, then by plays; and what is said of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from busbox.lessons.declaring import Lesson, Wrong
from busbox.lessons.expressions import evaluate, filled, parse
from busbox.lessons.playing import fault

#: The words of a verdict.
PASSES, NOT_YET, NOT_READABLE = "passes", "not yet", "not readable"


@dataclass(frozen=True)
class Verdict:
    """What an answer got.

    Attributes
    ----------
    word : ``passes`` or ``not yet``
    said : sentences: what happened; then the misconception, if it is a typical one
    wrong : name of the misconception that was recognised, or ""
    """

    word: str
    said: tuple[str, ...]
    wrong: str = ""


def named(numbers: Mapping[str, int], answer: Mapping[str, int]) -> dict[str, int]:
    """Return the values of all names in expressions: drawn numbers, and the fields of an answer."""
    return {**numbers, **{f"answer.{name}": value for name, value in answer.items()}}


def judge(lesson: Lesson, numbers: Mapping[str, int], answer: Mapping[str, int]) -> Verdict:
    """Judge an answer to a variant of a lesson."""
    values = named(numbers, answer)
    happened = _happened(lesson, values)
    if not happened:
        return Verdict(PASSES, (filled(lesson.passes, values),))
    wrong = recognised(lesson, numbers, answer)
    if wrong is None:
        return Verdict(NOT_YET, (happened,))
    return Verdict(NOT_YET, (happened, filled(wrong.says, values)), wrong.name)


def _happened(lesson: Lesson, values: Mapping[str, int]) -> str:
    """Return what happened instead of what must: of the first rule or play that does not hold."""
    for before in lesson.before:
        if not evaluate(parse(before.holds), values):
            return filled(before.says, values)
    return next((found for play in lesson.plays if (found := fault(play, values))), "")


def wrong_answer(lesson: Lesson, numbers: Mapping[str, int], wrong: Wrong) -> dict[str, int]:
    """Return a typical wrong answer to a variant, with the right values in the fields it leaves out."""
    right = lesson.answer(numbers)
    return {**right, **_named_fields(wrong, named(numbers, right))}


def recognised(
    lesson: Lesson, numbers: Mapping[str, int], answer: Mapping[str, int]
) -> Wrong | None:
    """Return the misconception whose fields an answer has, or None."""
    values = named(numbers, lesson.answer(numbers))
    for wrong in lesson.wrong:
        if all(answer[name] == given for name, given in _named_fields(wrong, values).items()):
            return wrong
    return None


def _named_fields(wrong: Wrong, values: Mapping[str, int]) -> dict[str, int]:
    return {name: evaluate(parse(text), values) for name, text in wrong.answer.items()}
