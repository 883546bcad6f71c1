"""Reads a TOML file; syntax errors get messages of ours."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from busbox.basics.errors import InputError
from busbox.basics.files import read_file
from busbox.basics.limits import LINE, NESTING, TOML


def read_toml(file: Path) -> tuple[dict[str, Any], str]:
    """Return the keys of a TOML file, and its text.

    Raises
    ------
    InputError : it cannot be read, or is not valid TOML
    """
    where = str(file)
    contents = read_file(file, TOML)
    try:
        text = contents.decode("utf-8-sig").replace("\r\n", "\n")
        for number, row in enumerate(contents.split(b"\n"), start=1):
            LINE.check(row.removesuffix(b"\r"), "a line", where, number)
        _check_keys(text, where)  # the parser takes ages for long ones
        keys = tomllib.loads(text)
        check_nesting(keys, where)
        return keys, text
    except UnicodeDecodeError as error:
        line = contents[: error.start].count(b"\n") + 1
        byte = contents[error.start]
        raise InputError.of(f"must be UTF-8 text, not byte {byte:#04x}", where, line) from None
    except tomllib.TOMLDecodeError as error:
        what, line = _syntax_error(str(error), text)
        raise InputError.of(f"is not valid TOML: {what}", where, line) from None
    except RecursionError:
        raise InputError.of(NESTING.exceeded(_NESTED), where) from None
    except ValueError:  # a number with more digits than Python reads
        raise InputError.of("is not valid TOML: a number has too many digits", where) from None


#: A string of several lines, a comment, a key with its dots, or a string without an end. A string
#: that is a value looks like a key of one part.
_PART = r"""(?:[A-Za-z0-9_-]++|"(?:\\.|[^"\\\n])*+"|'[^'\n]*+')"""
_KEY = re.compile(
    r'"""(?:\\[\s\S]|(?!""")[^\\])*+(?:"{3,5}|\Z)'
    r"|'''(?:(?!''')[\s\S])*+(?:'{3,5}|\Z)"
    r"|#[^\n]*+"
    rf"|(?P<key>{_PART}(?:[ \t]*+\.[ \t]*+{_PART})*+)"
    r"""|["'][^\n]*+"""
)
_DOT = re.compile(rf"{_PART}[ \t]*+(\.?)")
#: What is nested.
_NESTED = "what is nested in it (tables, lists, dotted keys)"


def _check_keys(text: str, where: str) -> None:
    """Refuse keys of too many parts with dots between them; what stands in a string is no key.

    Raises
    ------
    InputError : names the limit
    """
    most = NESTING.most
    for found in _KEY.finditer(text):
        key = found["key"]
        if key and key.count(".") > most and sum(map(len, _DOT.findall(key))) > most:
            line = text.count("\n", 0, found.start()) + 1
            raise InputError.of(NESTING.exceeded(_NESTED), where, line)


def check_nesting(value: object, where: str) -> None:
    """Refuse tables and lists that are nested too deeply.

    Raises
    ------
    InputError : names the limit
    """
    most, level = NESTING.most, [value]
    for _ in range(most + 1):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
            if isinstance(inner, dict | list)
        ]
        if not level:
            return
    raise InputError.of(NESTING.exceeded(_NESTED), where)


#: The parser's message as a pattern, and our message.
_SYNTAX = (
    (r"Cannot overwrite a value", "this key or table is given twice"),
    (r"Cannot declare \((.*?),?\) twice", r"[\1] is given twice"),
    (r"Cannot (?:mutate immutable|redefine) namespace .*", "this table is already defined"),
    (r"Duplicate inline table key (.*)", r"the key \1 is given twice"),
    (r"Expected '=' after a key in a key/value pair", "a key must be followed by = and a value"),
    (r"Expected newline or end of document after a statement",
     "unexpected text after the value; strings must be quoted"),
    (r"Invalid statement", "a line must be a comment, KEY = VALUE or [TABLE]"),
    (r"Invalid value", "a value must be a number, true, false, a list or a quoted string"),
    (r"Invalid initial character for a key part", "a key must be letters, digits, - and _"),
    (r"Expected '(\]\]?)' at the end of .*", r"a table's name must be followed by \1"),
    (r"Unclosed array", "a list must end with ]"),
    (r"Unclosed inline table", "a table in braces must end with }"),
    (r"Unterminated string|Expected \"?'+\"?|Illegal character '\\n'",
     "unterminated string"),
    (r"Unescaped '\\' in a string", r"\ in a string must be doubled; or use single quotes"),
)  # fmt: skip


def _syntax_error(error: str, text: str) -> tuple[str, int]:
    """Return our message for the parser's, and its line."""
    found = re.fullmatch(r"([\s\S]*) \(at (?:line (\d+), column \d+|end of document)\)", error)
    what, line = (found[1], found[2]) if found else (error, None)
    for pattern, message in _SYNTAX:
        match = re.fullmatch(pattern, what)
        if match:
            what = match.expand(message).replace("', '", ".").replace("['", "[").replace("']", "]")
            break
    return what, int(line) if line else text.rstrip("\n").count("\n") + 1
