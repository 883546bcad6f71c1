"""Where each key of a TOML text stands: a small table from key path to line.

The parser of the standard library tells no lines. This scanner reads the text of a file that the
parser has accepted, so it need not judge: it only follows table headers and keys.
"""

from __future__ import annotations

import re

Path = tuple[str | int, ...]

_PART = r"""(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')"""
_KEY = re.compile(rf"\s*({_PART}(?:\s*\.\s*{_PART})*)\s*=")
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_PART}(?:\s*\.\s*{_PART})*)\s*\]")
_STRING = re.compile(
    r'"""[\s\S]*?"""|\'\'\'[\s\S]*?\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*'
)


def key_lines(text: str) -> dict[Path, int]:
    """Return key path to line, counted from 1; items of an array of tables have their number.

    A path that stands on no line of its own (inside an inline table) is not in the table: look up
    the longest prefix that is, with :func:`line_of`.
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    depth = 0
    for number, line in enumerate(_blank_strings(text).split("\n"), start=1):
        header = _HEADER.match(line) if depth == 0 else None
        if header:
            table = _numbered(_parts(header[2]), counts)
            if header[1] == "[[":
                index = counts[table] = counts.get(table, -1) + 1
                table = (*table, index)
            lines.setdefault(table, number)
            continue
        found = _KEY.match(line) if depth == 0 else None
        if found:
            lines.setdefault((*table, *_parts(found[1])), number)
        depth += sum(line.count(sign) for sign in "[{") - sum(line.count(sign) for sign in "]}")
    return lines


def line_of(lines: dict[Path, int], path: Path) -> int | None:
    """Return the line of a key, or of the nearest thing around it that stands on a line."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return None


def _parts(dotted: str) -> Path:
    return tuple(part.strip("\"'") for part in re.findall(_PART, dotted))


def _numbered(path: Path, counts: dict[Path, int]) -> Path:
    """Put the number of the present item after every array of tables on the way."""
    result: Path = ()
    for place, part in enumerate(path):
        result = (*result, part)
        if result in counts and place < len(path) - 1:
            result = (*result, counts[result])
    return result


def _blank_strings(text: str) -> str:
    """Empty strings and comments, so that signs in them do not count; keys stay as they are."""

    def blank(found: re.Match[str]) -> str:
        rest = text[found.end() :].lstrip(" \t")
        is_key = rest.startswith((".", "=", "]")) and "\n" not in found[0]
        return found[0] if is_key else "\n" * found[0].count("\n")

    return _STRING.sub(blank, text)
