"""``busbox lesson --guide``: what a teacher needs to hold the lessons."""

from __future__ import annotations

from collections.abc import Sequence

from busbox.basics.errors import join_and
from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.cli.common import paper
from busbox.cli.lesson_sheets import lessons_named
from busbox.lessons.declaring import Lesson
from busbox.lessons.drawing import Variant, variant
from busbox.lessons.expressions import filled
from busbox.lessons.judging import named, wrong_answer
from busbox.lessons.reply import shown

#: The seed of the example that the guide shows.
EXAMPLE = 1
#: Minutes to arrive and to open what is needed.
ARRIVE = 5


def show_guide(words: Sequence[str]) -> int:
    """Show the guide of one lesson, or of all with the plan of the time.

    Raises
    ------
    InputError : there is no such lesson
    """
    chosen = lessons_named(words, "--guide")
    page = paper()
    if len(chosen) > 1:
        _plan(page, chosen)
    for number, lesson in enumerate(chosen):
        if number or len(chosen) > 1:
            page.line()
        _lesson(page, lesson)
    page.print()
    return 0


def _plan(page: Paper, lessons: Sequence[Lesson]) -> None:
    begins, rows = ARRIVE, [(0, ARRIVE, "arrive, start busbox or open the page")]
    for lesson in lessons:
        rows.append((begins, lesson.minutes, f"{lesson.number} {lesson.title}"))
        begins += lesson.minutes
    page.line((f"The plan: {counted(begins, 'minute')}", "bold"))
    page.table(rows, head=("from", "minutes", ""), numbers=(0, 1))
    page.line()
    page.line(
        "Each student has a number, which is the seed: busbox lesson 4 --seed 17. Sheets for paper: "
        "busbox lesson all --sheets DIR --seeds 1..30. The table of the class, from the files of "
        "progress: busbox lesson --collect FILES."
    )


def _lesson(page: Paper, lesson: Lesson) -> None:
    example = variant(lesson, EXAMPLE)
    page.line((f"{lesson.number} {lesson.title}", "bold"), f", {counted(lesson.minutes, 'minute')}")
    page.line(f"  Goal: {lesson.learns}.", hang=2)
    if lesson.board:
        page.line(f"  On the board: {lesson.board}", hang=2)
    page.line("  Misconceptions:")
    for wrong in lesson.wrong:
        values = wrong_answer(lesson, example.numbers, wrong)
        typed = ", ".join(
            f"{field.name} {shown(field, values[field.name])}"
            for field in lesson.fields
            if field.name in wrong.answer
        )
        page.line(f"  - {wrong.name} (with seed {EXAMPLE}: {typed})", hang=2)
        said = filled(wrong.says, named(example.numbers, values))
        page.line(f"    The reply: {said}", hang=2)
    if lesson.questions:
        page.line("  To ask:")
    for question in lesson.questions:
        page.line(f"  - {question}", hang=2)
    if lesson.teaches:
        rules = join_and([f"busbox explain {rule}" for rule in lesson.teaches])
        page.line(f"  Findings that it explains: {rules}.", hang=2)
    page.line(f"  Solution with seed {EXAMPLE}: {_solution(example)}", hang=2)


def _solution(example: Variant) -> str:
    lesson, numbers = example.lesson, example.numbers
    return " ".join(filled(lesson.solution, named(numbers, lesson.answer(numbers))).split())
