"""Lines of keys: for any TOML text, every key, table and item has the line on which it stands."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.basics.toml_lines import KeyPath, key_lines, line_of

#: Signs that mean something elsewhere in TOML, to be put where they mean nothing.
TEXTS = ("", "lever", "a = 1", "[slot.x]", "]", "[[", "}{", "#", "x # y", "a.b", ",", "=")
QUOTED = ('"{}"', "'{}'")
BARE = ("lamp", "bell", "4th", "a-b", "_")
#: Keys as they are written, and what they are.
KEYS = (
    *((name, name) for name in BARE),
    *((form.format(text), text) for text in TEXTS for form in QUOTED),
    ('"a\\"b"', 'a"b'),
    ('"\\u0041\\\\"', "A\\"),
    ('"\'"', "'"),
    ("'\"'", '"'),
)
COMMENTS = ("", " # off [slot.bell]", "  # ]", '\t# it\'s "so" = {', " # '''", ' # """')
SCALARS = ("1", "0x4000_0000", "-1.5e3", "true", "1979-05-27 07:32:00", "inf", "07:32:00")
#: Values of one line: no item in them has a line of its own.
PLAIN = (
    *SCALARS,
    *(form.format(text) for text in TEXTS for form in QUOTED),
    '"a \\" ] b"',
    '"\\\\"',
    '"""a"""',
    "'''a'''",
    '"""a ""b"" ]"""',
    '"""a"""""',
    "'''a'''''",
    '"""\\""" ] """',
)


@dataclass
class Text:
    """A TOML text under construction, with the line of everything that has been written.

    Attributes
    ----------
    parts : what has been written
    lines : path to line
    implied : path that only a longer name defines to the line of the first such name
    """

    parts: list[str] = field(default_factory=list)
    lines: dict[KeyPath, int] = field(default_factory=dict)
    implied: dict[KeyPath, int] = field(default_factory=dict)

    @property
    def text(self) -> str:
        return "".join(self.parts)

    @property
    def line(self) -> int:
        """The line that is being written."""
        return self.text.count("\n") + 1

    def put(self, text: str) -> None:
        self.parts.append(text)

    def name(self, path: KeyPath, above: int) -> None:
        """Note that a name stands in this line; ``above`` parts of its path stand elsewhere."""
        self.lines[path] = self.line
        for length in range(above + 1, len(path)):
            self.implied.setdefault(path[:length], self.line)


class Writer:
    """Writes random TOML, and knows what stands where."""

    def __init__(self, draw: st.DrawFn) -> None:
        self.draw = draw
        self.out = Text()
        self.used: set[str] = set()
        self.serial = 0

    def one(self, choices: Any) -> Any:
        return self.draw(st.sampled_from(choices))

    def key(self, taken: set[str]) -> tuple[str, str]:
        """Return a key that is not in ``taken``: as written, and what it is."""
        written, name = self.one(KEYS)
        if name in taken:
            self.serial += 1
            written = name = f"k{self.serial}"
        taken.add(name)
        return written, name

    def dotted(self, taken: set[str]) -> tuple[str, tuple[str, ...]]:
        written, name = self.key(taken)
        names = [name]
        for _ in range(self.one((0, 0, 1, 2))):
            more, name = self.key(set())
            written += self.one((".", " . ", ".\t")) + more
            names.append(name)
        return written, tuple(names)

    def pair(self, table: KeyPath, taken: set[str], depth: int) -> None:
        written, names = self.dotted(taken)
        path = (*table, *names)
        self.out.name(path, len(table))
        self.out.put(written + self.one((" = ", "=", " =")))
        self.value(path, depth)

    def value(self, path: KeyPath, depth: int) -> None:
        kind = self.one(("plain", "plain", "long", "array", "inline")) if depth else "plain"
        if kind == "plain":
            self.out.put(self.one(PLAIN))
        elif kind == "long":
            quotes = self.one(('"""', "'''"))
            body = self.draw(st.lists(st.sampled_from(TEXTS), min_size=1, max_size=3))
            self.out.put(quotes + "\n".join(["", *body, ""]) + quotes)
        elif kind == "array":
            self.array(path, depth)
        else:
            self.inline(path, depth)

    def array(self, path: KeyPath, depth: int) -> None:
        self.out.put("[")
        count = self.one((0, 1, 2, 3))
        for number in range(count):
            self.out.put(self.one(("", " ", "\n", "\n  ", ' # [a] "b\n', "\n\n")))
            item = (*path, number)
            self.out.name(item, len(path))
            self.value(item, depth - 1)
            last = number == count - 1
            self.out.put(self.one(("", ",", "\n", ",\n", " # ]\n")) if last else ",")
        self.out.put("]")

    def inline(self, path: KeyPath, depth: int) -> None:
        self.out.put("{")
        taken: set[str] = set()
        for number in range(self.one((0, 1, 2))):
            self.out.put(", " if number else " ")
            self.pair(path, taken, depth - 1)
        self.out.put(" }")

    def pairs(self, table: KeyPath, taken: set[str]) -> None:
        for _ in range(self.one((0, 1, 2, 3))):
            self.out.put(self.one(("", "", "\n", "# [table]\n", "  ", "\t")))
            self.pair(table, taken, 2)
            self.out.put(self.one(COMMENTS) + "\n")

    def header(self, signs: str, written: str, path: KeyPath, above: int) -> None:
        self.out.put(self.one(("", "", "\n", "# '''\n", "  ")))
        self.out.name(path, above)
        space = self.one(("", " "))
        closing = "]" * len(signs)
        self.out.put(f"{signs}{space}{written}{space}{closing}{self.one(COMMENTS)}\n")

    def tables(self) -> None:
        kind = self.one(("table", "array"))
        written, names = self.dotted(self.used)
        if kind == "table":
            self.header("[", written, names, 0)
            self.pairs(names, set())
            return
        for number in range(self.one((1, 2))):
            self.header("[[", written, (*names, number), 0)
            taken: set[str] = set()
            self.pairs((*names, number), taken)
            if self.one((False, True)):
                more, name = self.key(taken)
                self.header("[", f"{written}.{more}", (*names, number, name), len(names) + 1)
                self.pairs((*names, number, name), set())


@st.composite
def documents(draw: st.DrawFn) -> Text:
    """Return a TOML text and the line of everything in it."""
    writer = Writer(draw)
    writer.pairs((), writer.used)
    for _ in range(writer.one((0, 1, 2, 3))):
        writer.tables()
    return writer.out


def paths_of(value: Any, path: KeyPath = ()) -> list[KeyPath]:
    """Return the path of everything in a parsed TOML text."""
    items = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    found = []
    for key, item in items:
        found += [(*path, key), *paths_of(item, (*path, key))]
    return found


@settings(max_examples=400, deadline=None)
@given(documents())
def test_everything_in_a_random_text_has_its_line(out: Text) -> None:
    """Keys, tables and items have the line on which they were written; nothing else is there."""
    parsed = tomllib.loads(out.text)
    lines = key_lines(out.text)
    assert lines == out.implied | out.lines
    assert set(lines) == set(paths_of(parsed))


@settings(max_examples=100, deadline=None)
@given(documents(), st.integers(1, 9))
def test_lines_before_a_text_move_every_line_by_their_number(out: Text, count: int) -> None:
    """Comments with brackets and quotes in front of a text only shift it."""
    above = '# [slot.x] """ \' {\n' * count
    expected = {path: line + count for path, line in key_lines(out.text).items()}
    assert key_lines(above + out.text) == expected


@settings(max_examples=100, deadline=None)
@given(documents())
def test_line_ends_of_two_signs_change_no_line(out: Text) -> None:
    """A text with CR LF has the same lines."""
    assert key_lines(out.text.replace("\n", "\r\n")) == key_lines(out.text)


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("slot", "levers", "base"), 3),
        (("slot", "levers", "width"), 1),
        (("slot", "bell", "base"), 1),
        (("input", 0, "at"), 5),
        (("input", 1, "level"), 6),
        (("input", 2, "at"), 4),
        (("fabric", "watchdog"), None),
        ((), None),
    ],
)
def test_a_key_that_is_missing_has_the_line_of_what_is_around_it(
    path: KeyPath, line: int | None
) -> None:
    """The nearest table, item or list that stands on a line is told, else nothing."""
    text = """\
[slot.levers]
model = "gpio"
base = 0
[[input]]
at = 1
[[input]]
at = 2
"""
    assert line_of(key_lines(text), path) == line
