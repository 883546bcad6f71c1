"""Where each key of a TOML text stands: a small table from key path to line.

The parser of the standard library gives no line numbers. This scanner reads the text of a file that the
parser has accepted, so it need not judge: it only follows table headers, keys and brackets.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right

KeyPath = tuple[str | int, ...]

_SPACE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY_PART = re.compile(r"""[A-Za-z0-9_-]+|"(?:\\.|[^"\\])*"|'[^']*'""")
_DOT = re.compile(r"[ \t]*\.[ \t]*")
_STRING = re.compile(
    r'"""(?:\\[\s\S]|[^\\])*?"""(?:"{0,2})'
    r"|'''[\s\S]*?'''(?:'{0,2})"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'"
)
_OTHER = re.compile(r"[^,\]}#\n]*")


def key_lines(text: str) -> dict[KeyPath, int]:
    """Return the path of every key, table and item to its line, counted from 1.

    Items of an array have their number in the path. What is defined by a longer name only
    (``slot`` in ``[slot.levers]``) stands where that name stands first.
    """
    return _Scanner(text).lines()


def line_of(lines: dict[KeyPath, int], path: KeyPath) -> int | None:
    """Return the line of a key, or of the nearest thing around it that stands on a line."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None


class _Scanner:
    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._ends = [found.start() for found in re.finditer("\n", text)]
        self._named: dict[KeyPath, int] = {}
        self._implied: dict[KeyPath, int] = {}
        self._counts: dict[KeyPath, int] = {}

    def lines(self) -> dict[KeyPath, int]:
        """Scan the text."""
        table: KeyPath = ()
        self._pass(_SPACE)
        while self._at < len(self._text):
            before = self._at
            if self._next() == "[":
                table = self._header()
            else:
                self._pair(table)
            self._pass(_SPACE)
            if self._at == before:  # no TOML: the parser has not accepted this text
                break
        return self._implied | self._named

    def _next(self) -> str:
        return self._text[self._at : self._at + 1]

    def _pass(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self._text, self._at)
        if found is None:
            return ""
        self._at = found.end()
        return found[0]

    def _name(self, path: KeyPath, at: int, above: int = 0) -> None:
        """Note that ``path`` stands at a place of the text; ``above`` parts were there before."""
        line = bisect_right(self._ends, at - 1) + 1
        self._named.setdefault(path, line)
        for length in range(above + 1, len(path)):
            self._implied.setdefault(path[:length], line)

    def _header(self) -> KeyPath:
        start = self._at
        double = self._text.startswith("[[", self._at)
        self._at += 1 + double
        self._pass(_SPACE)
        table = self._numbered(self._key())
        if double:
            self._implied.setdefault(table, bisect_right(self._ends, start - 1) + 1)
            self._counts[table] = self._counts.get(table, -1) + 1
            table = (*table, self._counts[table])
        self._pass(_SPACE)
        self._at += 1 + double
        self._name(table, start)
        return table

    def _numbered(self, path: KeyPath) -> KeyPath:
        """Put the number of the present item after every array of tables on the way."""
        result: KeyPath = ()
        for place, part in enumerate(path):
            result = (*result, part)
            if result in self._counts and place < len(path) - 1:
                result = (*result, self._counts[result])
        return result

    def _key(self) -> KeyPath:
        parts = [self._key_part()]
        while self._pass(_DOT):
            parts.append(self._key_part())
        return tuple(parts)

    def _key_part(self) -> str:
        part = self._pass(_KEY_PART)
        if part.startswith('"'):
            decoded: str = tomllib.loads(f"key = {part}")["key"]
            return decoded
        return part.strip("'")

    def _pair(self, table: KeyPath) -> None:
        start = self._at
        path = (*table, *self._key())
        self._name(path, start, len(table))
        self._pass(_SPACE)
        self._at += 1  # the equals sign
        self._pass(_SPACE)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        sign = self._next()
        if sign in ("[", "{"):
            self._at += 1
            self._items(path, sign)
        elif not self._pass(_STRING):
            self._pass(_OTHER)

    def _items(self, path: KeyPath, sign: str) -> None:
        """Read an array or an inline table to its end."""
        number = 0
        self._pass(_SPACE)
        while self._next() not in ("]", "}", ""):
            before = self._at
            if sign == "[":
                self._name((*path, number), self._at, len(path))
                self._value((*path, number))
            else:
                self._pair(path)
            number += 1
            self._pass(_SPACE)
            if self._next() == ",":
                self._at += 1
                self._pass(_SPACE)
            if self._at == before:
                return
        self._at += 1
