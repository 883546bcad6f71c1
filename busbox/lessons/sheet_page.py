"""Sheets for paper: a page a student, and the answers for the teacher, in HTML for a browser to print.

The layout is fixed: a page is as high and as wide as the paper leaves room, two columns for all
lessons, one with room to work for a single lesson. Nothing is told apart by colour. A browser prints
what it shows; ``@page`` names the paper.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from html import escape
from importlib.resources import files

from busbox.lessons.declaring import Field, Lesson
from busbox.lessons.drawing import Variant
from busbox.lessons.expressions import evaluate, filled, parse
from busbox.lessons.reply import shown

#: Paper to its width and height in millimetres, and the size of type, in points, with which all
#: lessons have room. Source: ISO 216; ANSI/ASME Y14.1 (8.5 by 11 inches).
PAPERS: Mapping[str, tuple[float, float, float]] = {
    "A4": (210, 297, 7.9),
    "Letter": (215.9, 279.4, 7.6),
}
#: What a printer leaves white at each side, in millimetres.
MARGIN = 10
#: Begins a grid of bits; what its signs mean.
_GRID = '<table class="bits">'
_LEGEND = (
    '<p class="legend">Grids of bits: 0 or 1, compared and equal; x, compared and different; '
    "o, inside the slot; . neither compared nor inside.</p>"
)
#: Draws the picture of a task as HTML; "" if the sheet has none.
Drawn = Callable[[Variant], str]


def sheets_page(students: Sequence[Sequence[Variant]], paper: str, drawn: Drawn) -> str:
    """Return the sheets: for each student the variants on the page."""
    body = "\n".join(_sheet(variants, drawn) for variants in students)
    return _page(f"Tasks, {paper}", paper, body, "")


def answers_page(students: Sequence[Sequence[Variant]], paper: str) -> str:
    """Return the answers: a table a lesson, a row a student. They have been played."""
    tables = "\n".join(_answers(list(variants)) for variants in zip(*students, strict=True))
    note = (
        "<p>One right answer each: it was played on the bus when this was written. Others may be right "
        "too, wherever the task leaves a choice; <b>busbox lesson N --seed S ANSWER</b> checks "
        "any.</p>"
    )
    head = "<header><b>Answers, for the teacher</b><span>Which address reaches what</span></header>"
    return _page(f"Answers, {paper}", paper, f"{head}\n{note}\n{tables}", "answers")


def _page(title: str, paper: str, body: str, kind: str) -> str:
    *sides, font = PAPERS[paper]
    width, height = (side - 2 * MARGIN for side in sides)
    style = files("busbox").joinpath("lessons", "web", "sheets.css").read_text(encoding="utf-8")
    # A page that is as high as the paper by a hair may be followed by an empty one.
    size = f"--width: {width:g}mm; --height: {height - 0.5:g}mm; --font: {font}pt;"
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{escape(title)}</title>\n<style>\n"
        f"@page {{ size: {paper} portrait; margin: {MARGIN}mm; }}\n:root {{ {size} }}\n{style}"
        f'</style>\n</head>\n<body class="{kind}">\n{body}\n</body>\n</html>\n'
    )


def _sheet(variants: Sequence[Variant], drawn: Drawn) -> str:
    (seed,) = {one.seed for one in variants}
    tasks = "\n".join(_task(one, drawn) for one in variants)
    single = len(variants) == 1
    lesson = f"lesson {variants[0].lesson.number}" if single else f"{len(variants)} lessons"
    room = '<div class="room">Room to work</div>' if single else ""
    command = f"busbox lesson {variants[0].lesson.number if single else 'N'} --seed {seed} ANSWER"
    return (
        f'<section class="sheet{" one" if single else ""}">\n'
        f"<header><b>Which address reaches what</b><span>student {seed}</span></header>\n"
        f'<div class="tasks">\n{tasks}\n</div>\n{room}{_LEGEND if _GRID in tasks else ""}'
        f"<footer><span>student {seed}, seed {seed}, {lesson}</span>"
        f"<span>checked by: {escape(command)}</span></footer>\n</section>"
    )


def _task(one: Variant, drawn: Drawn) -> str:
    lesson = one.lesson
    fields = "".join(_field(field) for field in lesson.fields if not field.given)
    given = ", ".join(f"{name}\u00a0=\u00a0{value}" for name, value in _given(one))
    if given:
        fields = (
            f'<p class="given">Your answer: {escape(given)}</p>' + _line("to be changed", "") * 4
        )
    return (
        f'<section class="task"><h2>{lesson.number} {escape(lesson.title)} '
        f"<span>({lesson.minutes} min)</span></h2>{_paragraphs(filled(lesson.task, one.numbers))}"
        f'{drawn(one)}<div class="fields">{fields}</div></section>'
    )


def _paragraphs(text: str) -> str:
    """Return paragraphs; one that begins with spaces keeps its lines."""
    return "".join(
        f"<pre>{escape(part)}</pre>" if part.startswith(" ") else f"<p>{escape(part)}</p>"
        for part in text.split("\n\n")
    )


def _field(field: Field) -> str:
    """Return a line to write a part of the answer on; of a choice, the words to mark."""
    if field.kind == "choice":
        words = " / ".join(field.choices)
        return (
            f'<div class="field choice"><span>{escape(field.label)}: {escape(words)}</span></div>'
        )
    return _line(field.label, "0x" if field.hexadecimal else "")


def _line(label: str, begins: str) -> str:
    text = escape(begins or "\u00a0")
    return f'<div class="field"><span>{escape(label)}</span><i>{text}</i></div>'


def _given(one: Variant) -> list[tuple[str, str]]:
    """Return the parts of an answer that count as they are if nothing is said of them."""
    return [
        (field.name, shown(field, evaluate(parse(field.given), one.numbers)))
        for field in one.lesson.fields
        if field.given
    ]


def bits_table(rows: Sequence[tuple[str, str]]) -> str:
    """Return rows of 32 signs as a grid with the numbers of the bits; (name, signs) each."""
    numbers = "".join(
        f'<td class="no">{bit if bit % 4 == 3 else ""}</td>' for bit in range(31, -1, -1)
    )
    lines = "".join(
        f"<tr><th>{escape(name)}</th>{''.join(f'<td>{escape(sign)}</td>' for sign in signs)}</tr>"
        for name, signs in rows
    )
    return f"{_GRID}<tr><th>bit</th>{numbers}</tr>{lines}</table>"


def _answers(variants: Sequence[Variant]) -> str:
    lesson: Lesson = variants[0].lesson
    # Of constants, only those that must be changed: the others are as the task shows them.
    head = "".join(f"<th>{escape(field.label)}</th>" for field in lesson.fields if not field.given)
    if any(field.given for field in lesson.fields):
        head += "<th>to be changed</th>"
    rows = "".join(
        f"<tr><th>{one.seed}</th>{''.join(f'<td>{escape(cell)}</td>' for cell in cells_of(one))}</tr>"
        for one in variants
    )
    return (
        f"<section><h2>{lesson.number} {escape(lesson.title)}</h2>"
        f"<table><tr><th>seed</th>{head}</tr>{rows}</table></section>"
    )


def cells_of(one: Variant) -> list[str]:
    """Return the cells of a right answer: its parts, and what it changes of what is given."""
    right = one.lesson.answer(one.numbers)
    cells = [shown(field, right[field.name]) for field in one.lesson.fields if not field.given]
    changed = [
        f"{field.name}={shown(field, right[field.name])}"
        for field in one.lesson.fields
        if field.given and right[field.name] != evaluate(parse(field.given), one.numbers)
    ]
    return (
        [*cells, ", ".join(changed)] if any(field.given for field in one.lesson.fields) else cells
    )
