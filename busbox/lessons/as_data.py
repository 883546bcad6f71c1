"""The variant of a lesson as plain data, for a page that judges with the same trees.

Texts are lists of pieces: a string, or ``[tree, form]``. Drawn numbers are computed into them, so that
the only names left are ``answer.FIELD`` and, in what is said of a play, ``seen``. A text with no
name left is one string. Trees are numbers, names, or lists ``[operator, tree, ...]``
(:mod:`busbox.lessons.expressions`). Keys of a variant::

    number, title, seed, minutes, learns   numbers and strings
    task, solution, hints                  strings; the solution shows the right answer
    fields      [{name, label, kind, hexadecimal, choices, given}], given a number or null
    before      [{holds: tree, says: text}]
    wrong       [{name, answer: {field: number}, fields: [field], says: text}]; recognised if the
                named fields are equal, first match wins
    plays       [{slots, fabric, steps, must, starts, says, when}]
      slots     [{name, model, base, size, wait, compare, yields_to, ...settings}]: trees; compare
                is a mask or null (all bits above the size), yields_to {slot: condition}
      steps     [[op, address, data, lanes, times, tag]], op "read" or "write"
      must      [{what, of, value, says, when}], value a tree for reads, cycles and outputs, a
                list of rules for "no finding", a text for "text", else a string
    passes      text
    picture     {kind, slots, address, step}
    sentences   what is said of what never comes to a run: texts with names such as size and name
    limits      {hang_after, watchdog}
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from busbox.lessons.declaring import Lesson, Must, Picture, Play, Wrong
from busbox.lessons.drawing import Variant, variant
from busbox.lessons.expressions import FORMS, Tree, evaluate, filled, folded, parse, pieces
from busbox.lessons.judging import named, wrong_answer
from busbox.lessons.playing import HANG_AFTER, MOST_WATCHDOG, SENTENCES
from busbox.lessons.steps import parse_steps, value


def variant_data(lesson: Lesson, seed: int) -> dict[str, Any]:
    """Return a lesson's variant of a seed as data for JSON."""
    return data_of(variant(lesson, seed))


def data_of(drawn: Variant) -> dict[str, Any]:
    """Return a variant as data for JSON."""
    lesson, numbers = drawn.lesson, drawn.numbers
    right = named(numbers, lesson.answer(numbers))
    return {
        "number": lesson.number,
        "title": lesson.title,
        "seed": drawn.seed,
        "minutes": lesson.minutes,
        "learns": lesson.learns,
        "task": filled(lesson.task, numbers),
        "hints": [filled(hint, numbers) for hint in lesson.hints],
        "solution": filled(lesson.solution, right),
        "fields": [
            {
                "name": field.name,
                "label": field.label,
                "kind": field.kind,
                "hexadecimal": field.hexadecimal,
                "choices": list(field.choices),
                "given": evaluate(parse(field.given), numbers) if field.given else None,
            }
            for field in lesson.fields
        ],
        "before": [
            {"holds": _tree(parse(one.holds), numbers), "says": text_data(one.says, numbers)}
            for one in lesson.before
        ],
        "wrong": [_wrong(drawn, one) for one in lesson.wrong],
        "plays": [_play(play, numbers) for play in lesson.plays],
        "passes": text_data(lesson.passes, numbers),
        "picture": _picture(lesson.picture, numbers),
        "sentences": {kind: text_data(text, {}) for kind, text in SENTENCES.items()},
        "limits": {"hang_after": HANG_AFTER, "watchdog": MOST_WATCHDOG},
    }


def text_data(text: str, numbers: Mapping[str, int]) -> Any:
    """Return a template as pieces, with the numbers in it; as one string if that is all it is."""
    found: list[Any] = []
    for piece in pieces(text):
        if not isinstance(piece, str):
            tree, form = folded(piece[0], numbers), piece[1]
            piece = FORMS[form](tree) if isinstance(tree, int) else (tree, form)
        if isinstance(piece, str) and found and isinstance(found[-1], str):
            found[-1] += piece
        else:
            found.append(piece if isinstance(piece, str) else [_plain(piece[0]), piece[1]])
    if not found:
        return ""
    return found[0] if len(found) == 1 and isinstance(found[0], str) else found


def _tree(tree: Tree, numbers: Mapping[str, int]) -> Any:
    return _plain(folded(tree, numbers))


def _plain(tree: Tree) -> Any:
    """Return a tree as lists."""
    return [_plain(one) for one in tree] if isinstance(tree, tuple) else tree


def _wrong(drawn: Variant, wrong: Wrong) -> dict[str, Any]:
    lesson, numbers = drawn.lesson, drawn.numbers
    return {
        "name": wrong.name,
        "answer": wrong_answer(lesson, numbers, wrong),
        "fields": list(wrong.answer),
        "says": text_data(wrong.says, numbers),
    }


def _play(play: Play, numbers: Mapping[str, int]) -> dict[str, Any]:
    return {
        "slots": [_slot(table, numbers) for table in play.slots],
        "fabric": {key: _value(given, numbers) for key, given in play.fabric.items()},
        "steps": _steps(play.steps, numbers),
        "must": [_must(must, numbers) for must in play.must],
        "starts": play.starts,
        "says": text_data(play.says, numbers),
        "when": _tree(parse(play.when), numbers),
    }


def _steps(text: str, numbers: Mapping[str, int]) -> list[list[Any]]:
    return [
        [
            "write" if step.write else "read",
            *(_tree(part, numbers) for part in (step.address, step.data, step.lanes, step.times)),
            step.tag,
        ]
        for step in parse_steps(text)
    ]


def _slot(table: Mapping[str, Any], numbers: Mapping[str, int]) -> dict[str, Any]:
    done = {key: _value(given, numbers) for key, given in table.items() if key != "yields_to"}
    conditions = table.get("yields_to", {})
    yields_to = {name: _tree(parse(when), numbers) for name, when in conditions.items()}
    return {"wait": 1, "compare": None, **done, "yields_to": yields_to}


def _value(given: object, numbers: Mapping[str, int]) -> Any:
    is_expression = isinstance(given, str) and given.startswith("{")
    return _tree(value(given), numbers) if is_expression else given


def _must(must: Must, numbers: Mapping[str, int]) -> dict[str, Any]:
    given: Any = must.value
    if must.what in ("reads", "outputs", "cycles at most", "cycles at least"):
        given = _tree(parse(must.value), numbers)
    elif must.what == "text":
        given = text_data(must.value, numbers)
    elif must.what == "no finding":
        given = must.value.split()
    return {
        "what": must.what,
        "of": must.of,
        "value": given,
        "says": text_data(must.says, numbers),
        "when": _tree(parse(must.when), numbers),
    }


def _picture(picture: Picture, numbers: Mapping[str, int]) -> dict[str, Any]:
    return {
        "kind": picture.kind,
        "slots": [_slot(table, numbers) for table in picture.slots],
        "address": evaluate(parse(picture.address), numbers),
        "step": _steps(picture.step, numbers),
    }
