"""A lesson in a notebook: a task that shows itself, and checks answers."""

from __future__ import annotations

from html import escape

from busbox.basics.errors import InputError
from busbox.lessons.declaring import Picture
from busbox.lessons.drawing import Variant, variant
from busbox.lessons.expressions import evaluate, filled, parse
from busbox.lessons.finding import lesson_of
from busbox.lessons.judging import PASSES, judge, named
from busbox.lessons.playing import run, slot_table
from busbox.lessons.progress import TRIES
from busbox.lessons.reply import read_words
from busbox.lessons.steps import parse_steps, played
from busbox.lessons.task_facts import map_of
from busbox.notebook.html import paragraph, table
from busbox.pictures import Look, access_picture, decode_picture, fitted, map_picture


class Task:
    """A variant of a lesson.

    Parameters
    ----------
    lesson : its number, or a Python file with a lesson
    seed : which variant

    Raises
    ------
    InputError : there is no such lesson

    Attributes
    ----------
    tries : answers that were checked and did not pass
    """

    def __init__(self, lesson: int | str, seed: int = 1) -> None:
        self._drawn = variant(lesson_of(str(lesson)), seed)
        self.tries = 0

    def check(self, *answer: int | str, **parts: int | str) -> Reply:
        """Return what a bench with this answer does: its parts in order, or by name.

        A number is an int, or text as on the command line; lanes are text such as ``"0100"``, and a
        choice is its word.
        """
        words = [_word(value) for value in answer]
        words += [f"{name}={_word(value)}" for name, value in parts.items()]
        lesson, numbers = self._drawn.lesson, self._drawn.numbers
        try:
            given = read_words(lesson, numbers, words)
        except InputError as error:
            return Reply(False, ("Not readable.", *(str(one) for one in error.mistakes)))
        verdict = judge(lesson, numbers, given)
        if verdict.word == PASSES:
            return Reply(True, verdict.said)
        self.tries += 1
        return Reply(False, (*verdict.said, self._help()))

    def _help(self) -> str:
        """Return the hint that the tries have earned, or the worked solution."""
        lesson, numbers = self._drawn.lesson, self._drawn.numbers
        if self.tries < TRIES:
            hint = lesson.hints[min(self.tries, len(lesson.hints)) - 1]
            return f"Hint: {filled(hint, numbers)}"
        right = named(numbers, lesson.answer(numbers))
        return f"The worked solution: {filled(lesson.solution, right)}"

    def _repr_html_(self) -> str:
        lesson, numbers = self._drawn.lesson, self._drawn.numbers
        text = paragraph(f" (seed {self._drawn.seed})", f"Lesson {lesson.number}: {lesson.title}")
        for part in filled(lesson.task, numbers).split("\n\n"):
            text += f"<pre>{escape(part)}</pre>\n" if part.startswith(" ") else paragraph(part)
        rows = []
        for field in lesson.fields:
            form = {"bits": '"0100"', "choice": " or ".join(f'"{one}"' for one in field.choices)}
            given = hex(evaluate(parse(field.given), numbers)) if field.given else ""
            rows.append((field.name, field.label, given or form.get(field.kind, "a number")))
        return text + table("Your answer", ("part", "what", "form"), rows) + _picture(self._drawn)


class Reply:
    """What an answer got: whether it passes, and what happened."""

    def __init__(self, passes: bool, said: tuple[str, ...]) -> None:
        self.passes = passes
        self.said = said

    def __repr__(self) -> str:
        return f"<{'passes' if self.passes else 'not yet'}: {' '.join(self.said)}>"

    def _repr_html_(self) -> str:
        head = paragraph(f": {self.said[0]}", "passes" if self.passes else "not yet")
        return head + "".join(map(paragraph, self.said[1:]))


def _word(value: int | str) -> str:
    """Return a value as on the command line, where a number says how it is read."""
    return hex(value) if isinstance(value, int) else value


def _picture(drawn: Variant) -> str:
    """Return the picture of a task, as ``busbox draw`` makes it."""
    picture: Picture = drawn.lesson.picture
    address_map = map_of(picture, drawn.numbers)
    if picture.kind == "map":
        return fitted(lambda look: map_picture(address_map, look), Look())
    if picture.kind == "decode":
        address = evaluate(parse(picture.address), drawn.numbers)
        return fitted(lambda look: decode_picture(address_map, address, look), Look())
    tables = [slot_table(one, drawn.numbers) for one in picture.slots]
    steps = list(played(parse_steps(picture.step), drawn.numbers))
    recording = run(tables, {}, steps).recording
    return fitted(lambda look: access_picture(recording, 0, look, address_map), Look())
