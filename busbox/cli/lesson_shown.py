"""What ``busbox lesson`` shows: the list, a task with its picture, and what an answer got."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from busbox.basics.errors import InputError
from busbox.basics.listing import counted
from busbox.basics.paper import TIED, Paper
from busbox.cli.common import paper
from busbox.cli.lesson_picture import write_picture
from busbox.lessons.code import read_code
from busbox.lessons.declaring import Field, Lesson
from busbox.lessons.drawing import Variant, variant
from busbox.lessons.expressions import evaluate, filled, parse
from busbox.lessons.finding import lesson_of, lessons
from busbox.lessons.judging import NOT_READABLE, PASSES, Verdict, judge, named
from busbox.lessons.progress import TRIES, add_check, read_progress, row_of, tries
from busbox.lessons.reply import read_file, read_values, read_words, shown

Read = Callable[[Lesson, Mapping[str, int]], dict[str, int]]


def show_list(noted: Path) -> int:
    """List the lessons, with what was passed."""
    page = paper()
    cells = row_of("", read_progress(noted)).cells
    rows: list[tuple[object, ...]] = []
    for lesson in lessons():
        done = cells.get(str(lesson.number), "")
        word = "" if not done else "tried" if done.startswith("(") else "passed"
        rows.append((lesson.number, f"{lesson.minutes} min", word, lesson.title, lesson.learns))
    if not cells:
        rows = [(row[0], row[1], *row[3:]) for row in rows]
    page.line("Which address reaches what: twelve lessons on address decoding")
    page.line()
    page.table(rows, numbers=(0, 1))
    page.line()
    page.line("busbox lesson 1 shows the first task; an answer is checked by running a bench.")
    page.line("busbox guide words explains slot, window, image and the other words.")
    page.print()
    return 0


def show_task(name: str, seed: int, noted: Path) -> int:
    """Show the task of a lesson."""
    lesson = lesson_of(name)
    drawn = variant(lesson, seed)
    page = paper()
    minutes = counted(lesson.minutes, "minute")
    page.line((f"Lesson {lesson.number}: {lesson.title}", "bold"), f" ({minutes}, seed {seed})")
    page.line(f"You learn: {lesson.learns}.")
    page.title("Task")
    _text(page, filled(lesson.task, drawn.numbers))
    write_picture(page, lesson.picture, drawn.numbers)
    page.title("Your answer")
    page.table([_asked(field, drawn) for field in lesson.fields])
    page.line()
    page.line(f"  {_command(name, seed)} {_form(lesson)}", hang=4)
    used = tries(read_progress(noted), key_of(lesson, name), seed)
    if used:
        page.line()
        _help(page, drawn, used)
    page.print()
    return 0


def check_words(name: str, seed: int, words: Sequence[str], noted: Path) -> int:
    """Check an answer in words."""
    return _check(name, seed, lambda lesson, numbers: read_words(lesson, numbers, words), noted)


def check_file(name: str, seed: int, file: Path, noted: Path) -> int:
    """Check an answer in a file."""
    return _check(name, seed, lambda lesson, numbers: read_file(lesson, numbers, file), noted)


def check_code(code: str, noted: Path) -> int:
    """Check the answer that a code carries."""
    number, seed, values = read_code(code)
    return _check(str(number), seed, lambda lesson, _: read_values(lesson, values), noted)


def key_of(lesson: Lesson, name: str) -> str:
    """Return how a file of progress calls a lesson: its number, or the name of its file."""
    return Path(name).name if name.endswith(".py") else str(lesson.number)


def _check(name: str, seed: int, read: Read, noted: Path) -> int:
    """Judge an answer, say what happened, and note it; return the exit code."""
    lesson = lesson_of(name)
    drawn = variant(lesson, seed)
    key = key_of(lesson, name)
    before = read_progress(noted)
    attempt = tries(before, key, seed) + 1
    try:
        answer = read(lesson, drawn.numbers)
    except InputError as error:
        words = [str(mistake) for mistake in error.mistakes]
        add_check(noted, key, seed, attempt, NOT_READABLE, words)
        raise
    verdict = judge(lesson, drawn.numbers, answer)
    add_check(noted, key, seed, attempt, verdict.word, verdict.said)
    page = paper()
    page.line((f"Lesson {lesson.number}", "bold"), f", seed {seed}, try {attempt}:", hang=2)
    page.line(f"  {_given(drawn, answer)}", hang=2)
    page.line()
    _say(page, drawn, verdict, attempt, name)
    page.print()
    return 0 if verdict.word == PASSES else 1


def _given(drawn: Variant, answer: Mapping[str, int]) -> str:
    """Return an answer in one line; of fields that need not be said, those that differ."""
    said = [
        f"{field.name}{TIED}{shown(field, answer[field.name])}"
        for field in drawn.lesson.fields
        if not field.given or answer[field.name] != evaluate(parse(field.given), drawn.numbers)
    ]
    return "  ".join(said) or "nothing changed"


def _say(page: Paper, drawn: Variant, verdict: Verdict, attempt: int, name: str) -> None:
    page.line((f"{verdict.word}:", "bold"), f" {verdict.said[0]}", hang=2)
    for said in verdict.said[1:]:
        page.line(f"  {said}")
    page.line()
    if verdict.word != PASSES:
        _help(page, drawn, attempt)
        return
    following = [str(one.number) for one in lessons()[drawn.lesson.number :]]
    if name.isdecimal() and following:
        page.line(f"The next one: {_command(following[0], drawn.seed)}")
    else:
        page.line(f"Once more with other numbers: {_command(name, drawn.seed + 1)}")


def _help(page: Paper, drawn: Variant, used: int) -> None:
    """Write the hint that a number of tries has earned, or the worked solution."""
    lesson, numbers = drawn.lesson, drawn.numbers
    if used < TRIES:
        hint = filled(lesson.hints[min(used, len(lesson.hints)) - 1], numbers)
        page.line(("Hint:", "bold"), f" {hint}", hang=2)
        return
    page.line(("The worked solution:", "bold"), hang=2)
    _text(page, filled(lesson.solution, named(numbers, lesson.answer(numbers))))


def _text(page: Paper, text: str) -> None:
    """Write paragraphs; one that begins with spaces keeps its lines."""
    for number, paragraph in enumerate(text.split("\n\n")):
        if number:
            page.line()
        for line in paragraph.split("\n"):
            page.line(f"  {line}")


def _asked(field: Field, drawn: Variant) -> tuple[str, str, str]:
    form = {
        "number": "0x..." if field.hexadecimal else "a number",
        "bits": "four binary digits, SEL(3) first",
        "choice": ", ".join(field.choices),
    }[field.kind]
    if field.given:
        form = shown(field, evaluate(parse(field.given), drawn.numbers))
    return field.name, field.label, form


def _form(lesson: Lesson) -> str:
    """Return how an answer is written on the command line."""
    if any(field.given for field in lesson.fields):
        return "NAME=VALUE..."
    return " ".join(field.name.upper() for field in lesson.fields)


def _command(name: str, seed: int) -> str:
    return f"busbox lesson {name}" + (f" --seed {seed}" if seed != 1 else "")
