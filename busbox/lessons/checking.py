"""Whether a lesson is one: its texts, names and tags, without a run.

That its right answer passes and each wrong one fails is found by playing it, for every variant
(:mod:`busbox.lessons.drawing`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from random import Random
from typing import Any

from busbox.basics.errors import InputError, Mistake, format_error, join_or, nearest
from busbox.lessons.declaring import Before, Lesson, Must, Play
from busbox.lessons.expressions import Tree, names_in, parse, pieces
from busbox.lessons.playing import NOBODY
from busbox.lessons.progress import TRIES
from busbox.lessons.steps import parse_steps, value
from busbox.plugins import RULES, names

#: Musts whose ``of`` is a slot; that of the others is a tag.
_OF_SLOT = ("text", "outputs")
_EXPRESSIONS = ("reads", "outputs", "cycles at most", "cycles at least")
#: A text, a name of where it stands, and the names that it may use beside the drawn numbers.
_Text = tuple[str, str, frozenset[str]]


def check_lesson(lesson: Lesson, where: str) -> None:
    """Refuse a lesson that cannot be shown or judged.

    Parameters
    ----------
    where : how messages call it

    Raises
    ------
    InputError : with every mistake
    """
    found = [Mistake(text, where, key=key) for key, text in _mistakes(lesson)]
    if found:
        raise InputError(found)


def _mistakes(lesson: Lesson) -> Iterator[tuple[str, str]]:
    fields = {field.name for field in lesson.fields}
    try:
        numbers = lesson.draw(Random(0))
        right = lesson.answer(numbers)
    except Exception as error:
        yield "draw, answer", f"raised {format_error(error)}"
        return
    if set(right) != fields:
        yield "answer", f"must give {join_or(sorted(fields))}, not {join_or(sorted(right))}"
        return
    if not 1 <= len(lesson.hints) <= TRIES:
        yield "hints", f"must be 1 to {TRIES}, not {len(lesson.hints)}"
    yield from (
        ("teaches", f"there is no rule {rule!r}{nearest(rule, list(names(RULES)))}")
        for rule in lesson.teaches
        if rule not in names(RULES)
    )
    drawn, answered = set(numbers), {f"answer.{field}" for field in fields}
    for key, text, more in _texts(lesson, frozenset(answered)):
        yield from _unknown(key, _trees(text), drawn | more)
    for field in lesson.fields:
        if field.given:
            yield from _unknown(field.name, _tree(field.given), drawn)
    for wrong in lesson.wrong:
        key = f"wrong {wrong.name!r}"
        for name, text in wrong.answer.items():
            if name not in fields:
                yield key, f"there is no field {name!r}{nearest(name, sorted(fields))}"
            yield from _unknown(key, _tree(text), drawn | answered)
    for rule in lesson.before:
        yield from _unknown("before", _tree(rule.holds), drawn | answered)
    for index, play in enumerate(lesson.plays):
        yield from _play(f"plays.{index}", play, drawn | answered)
    yield from _slots("picture", lesson.picture.slots, drawn)


def _texts(lesson: Lesson, answered: frozenset[str]) -> Iterator[_Text]:
    yield "task", lesson.task, frozenset()
    for hint in lesson.hints:
        yield "hints", hint, frozenset()
    yield "solution", lesson.solution, answered
    yield "passes", lesson.passes, answered
    said: Iterable[Before | Must | Play] = (
        *lesson.before,
        *lesson.plays,
        *(must for play in lesson.plays for must in play.must),
    )
    for one in said:
        seen = frozenset({"seen"}) if isinstance(one, Must) else frozenset[str]()
        yield "says", one.says, answered | seen
    for wrong in lesson.wrong:
        yield f"wrong {wrong.name!r}", wrong.says, answered


def _play(key: str, play: Play, known: set[str]) -> Iterator[tuple[str, str]]:
    yield from _slots(key, play.slots, known)
    yield from _unknown(key, _tree(play.when), known)
    try:
        steps = parse_steps(play.steps)
    except ValueError as error:
        yield key, str(error)
        return
    for step in steps:
        trees = [step.address, step.data, step.lanes, step.times]
        yield from _unknown(key, iter(trees), known)
    tags = {step.tag for step in steps}
    slots = {table["name"] for table in play.slots}
    for must in play.must:
        targets = slots if must.what in _OF_SLOT else tags
        if must.what != "no finding" and must.of not in targets:
            yield (
                key,
                f"{must.what!r} is of {must.of!r}, which is none of {join_or(sorted(targets))}",
            )
        if must.what == "answers" and must.value not in slots | {NOBODY}:
            yield key, f"there is no slot {must.value!r}{nearest(must.value, sorted(slots))}"
        if must.what in _EXPRESSIONS:
            yield from _unknown(key, _tree(must.value), known)
        yield from _unknown(key, _tree(must.when), known)


def _slots(
    key: str, tables: Iterable[Mapping[str, Any]], known: set[str]
) -> Iterator[tuple[str, str]]:
    for table in tables:
        for given in (*table.values(), *table.get("yields_to", {}).values()):
            if isinstance(given, str) and given.startswith("{"):
                yield from _unknown(key, _value(given), known)


def _unknown(
    key: str, trees: Iterator[Tree | ValueError], known: set[str] | frozenset[str]
) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with trees: what is none, and names that have no value."""
    for tree in trees:
        if isinstance(tree, ValueError):
            yield key, str(tree)
            continue
        for name in sorted(names_in(tree) - known):
            yield key, f"{name!r} has no value here{nearest(name, sorted(known))}"


def _tree(text: str) -> Iterator[Tree | ValueError]:
    try:
        yield parse(text)
    except ValueError as error:
        yield error


def _value(text: str) -> Iterator[Tree | ValueError]:
    try:
        yield value(text)
    except ValueError as error:
        yield error


def _trees(text: str) -> Iterator[Tree | ValueError]:
    try:
        yield from (piece[0] for piece in pieces(text) if not isinstance(piece, str))
    except ValueError as error:
        yield error
