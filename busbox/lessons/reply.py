"""A student's answer, read from words or from a file; what cannot be read is asked about."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from busbox.basics.errors import (
    READ_MISTAKES,
    InputError,
    Mistake,
    format_value,
    join_and,
    join_or,
    limited,
    nearest,
)
from busbox.basics.files import text_lines
from busbox.lessons.declaring import Field, Lesson
from busbox.lessons.expressions import evaluate, parse
from busbox.map.addresses import lanes, number, typed_number

_NAMED = re.compile(r"\s*(?:#\s*define\s+)?([A-Za-z_]\w*)\s*(?:=|:|\s)\s*([^\s/]+)")


def read_words(lesson: Lesson, numbers: Mapping[str, int], words: Iterable[str]) -> dict[str, int]:
    """Return an answer from words: values in the order of the fields, or ``NAME=VALUE``.

    Raises
    ------
    InputError : with everything that is not readable
    """
    given: dict[str, str] = {}
    stray: list[Mistake] = []
    names = [field.name for field in lesson.fields]
    in_order = iter(names)
    for word in words:
        name, sign, text = word.partition("=")
        if not sign:
            name, text = next(in_order, ""), word
        if name in names:
            given[name] = text
        else:
            known = f"the answer takes {join_and(names)}"
            shown = format_value(name if sign else word)
            what = f"no part is called {shown}" if sign else f"unexpected {shown}"
            stray.append(Mistake(f"{what}; {known}{nearest(name, names)}", "answer"))
    return _read(lesson, numbers, given, stray)


def read_file(lesson: Lesson, numbers: Mapping[str, int], path: Path) -> dict[str, int]:
    """Return an answer from a file: a line a field, ``NAME = VALUE`` or ``#define NAME VALUE``.

    Other lines are comments if they begin with ``#``, ``/`` or ``*``, or are empty.

    Raises
    ------
    InputError : the file cannot be read, or an answer in it
    """
    names = [field.name for field in lesson.fields]
    given: dict[str, str] = {}
    stray: list[Mistake] = []
    for place, line in enumerate(text_lines(path), 1):
        match = _NAMED.match(line)
        if match and match[1] in names:
            given[match[1]] = match[2]
        elif line.strip()[:1] not in ("", "/", "*") and not line.lstrip().startswith("# "):
            name = match[1] if match else line.strip()
            shown = format_value(line.strip())
            text = f"must be a part of the answer such as {names[0]} = VALUE, not {shown}"
            stray.append(Mistake(text + nearest(name, names), str(path), place))
            if len(stray) == READ_MISTAKES:
                break
    stray = limited(stray, str(path))
    return _read(lesson, numbers, given, stray)


def read_values(lesson: Lesson, values: Sequence[int]) -> dict[str, int]:
    """Return an answer from values in the order of the fields, as a code carries them.

    Raises
    ------
    InputError : there are more or fewer of them than fields
    """
    if len(values) != len(lesson.fields):
        text = f"must carry {len(lesson.fields)} values for this lesson, not {len(values)}"
        raise InputError.of(text, "--code")
    return {field.name: value for field, value in zip(lesson.fields, values, strict=True)}


def _read(
    lesson: Lesson, numbers: Mapping[str, int], given: Mapping[str, str], stray: list[Mistake]
) -> dict[str, int]:
    answer: dict[str, int] = {}
    mistakes = list(stray)
    missing = [f for f in lesson.fields if f.name not in given and not f.given]
    if missing:
        texts = [f"{field.name} ({field.label})" for field in missing]
        mistakes.append(Mistake(f"{join_and(texts)} must be given as well", "answer"))
    for field in lesson.fields:
        try:
            if field.name in given:
                answer[field.name] = read_value(field, given[field.name])
            elif field.given:
                answer[field.name] = evaluate(parse(field.given), numbers)
        except ValueError as error:
            mistakes.append(Mistake(str(error), field.name))
    if mistakes:
        raise InputError(mistakes)
    return answer


def read_value(field: Field, text: str) -> int:
    """Return the value of a field.

    Raises
    ------
    ValueError : it is not readable; says what is asked, or what is meant perhaps
    """
    text = text.strip().rstrip(",;")
    if field.kind == "choice":
        return _choice(field, text)
    if field.kind == "bits":
        return lanes(text.removeprefix("0b"))
    return typed_number(text, "it") if field.hexadecimal else number(text, "it")


def _choice(field: Field, text: str) -> int:
    fitting = [
        index
        for index, word in enumerate(field.choices)
        if text and word.lower().startswith(text.lower())
    ]
    exact = [index for index in fitting if field.choices[index].lower() == text.lower()]
    if len(exact or fitting) != 1:
        raise ValueError(f"must be {join_or(field.choices)}, not {format_value(text)}")
    return (exact or fitting)[0]


def shown(field: Field, value: int) -> str:
    """Return a value as a student would write it."""
    if field.kind == "choice":
        return field.choices[value] if 0 <= value < len(field.choices) else str(value)
    if field.kind == "bits":
        return f"{value:04b}"
    return f"{value:#x}" if field.hexadecimal else str(value)
