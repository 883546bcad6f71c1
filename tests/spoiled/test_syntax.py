"""Benches that are no TOML: the syntax error comes alone, with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

pytestmark = pytest.mark.quick

CASES = (
    Spoiled(
        "A key must have a value.",
        "busbox: bench.toml:2: is not valid TOML: a key must be followed by = and a value\n",
        edits=(('settle = "1 ms"', "settle"),),
    ),
    Spoiled(
        "A value must be there.",
        (
            "busbox: bench.toml:2: is not valid TOML: a value must be a number, true, "
            "false, a list or a quoted string\n"
        ),
        edits=(('settle = "1 ms"', "settle ="),),
    ),
    Spoiled(
        "A text must stand in quotes.",
        (
            "busbox: bench.toml:2: is not valid TOML: unexpected text after the value; "
            "strings must be quoted\n"
        ),
        edits=(('settle = "1 ms"', "settle = 1 ms"),),
    ),
    Spoiled(
        "A word is no value.",
        (
            "busbox: bench.toml:2: is not valid TOML: a value must be a number, true, "
            "false, a list or a quoted string\n"
        ),
        edits=(('settle = "1 ms"', "settle = soon"),),
    ),
    Spoiled(
        "`True` is no value.",
        (
            "busbox: bench.toml:9: is not valid TOML: a value must be a number, true, "
            "false, a list or a quoted string\n"
        ),
        edits=(("registered_decode = false", "registered_decode = False"),),
    ),
    Spoiled(
        "A text must end.",
        ("busbox: bench.toml:2: is not valid TOML: unterminated string\n"),
        edits=(('settle = "1 ms"', 'settle = "1 ms'),),
    ),
    Spoiled(
        "A key must not be given twice.",
        "busbox: bench.toml:3: is not valid TOML: this key or table is given twice\n",
        edits=(('settle = "1 ms"', 'settle = "1 ms"\nsettle = "2 ms"'),),
    ),
    Spoiled(
        "A table must not be given twice.",
        "busbox: bench.toml:37: is not valid TOML: [slot.levers] is given twice\n",
        edits=(("[slot.book]", "[slot.levers]"),),
    ),
    Spoiled(
        "A table must not be given as list and table.",
        "busbox: bench.toml:52: is not valid TOML: [input] is given twice\n",
        edits=(("[[reset]]", "[input]"),),
    ),
    Spoiled(
        "A table's name must end.",
        "busbox: bench.toml:6: is not valid TOML: a table's name must be followed by ]\n",
        edits=(("[fabric]", "[fabric"),),
    ),
    Spoiled(
        "A name of a list of tables must end.",
        "busbox: bench.toml:47: is not valid TOML: a table's name must be followed by ]]\n",
        edits=(("[[input]]", "[[input]"),),
    ),
    Spoiled(
        "A key must be letters.",
        (
            "busbox: bench.toml:2: is not valid TOML: a line must be a comment, KEY = VALUE "
            "or [TABLE]\n"
        ),
        edits=(('settle = "1 ms"', "= 1"),),
    ),
    Spoiled(
        "A list must end.",
        "busbox: bench.toml:54: is not valid TOML: a list must end with ]\n",
        edits=(("length = 4\n", "length = [4\n"),),
    ),
    Spoiled(
        "A table in braces must end.",
        "busbox: bench.toml:54: is not valid TOML: a table in braces must end with }\n",
        edits=(("length = 4\n", "length = {a = 4\n"),),
    ),
    Spoiled(
        "A key must not be given twice in braces.",
        "busbox: bench.toml:54: is not valid TOML: the key 'a' is given twice\n",
        edits=(("length = 4", "length = {a = 1, a = 2}"),),
    ),
    Spoiled(
        "A line must be a key, a table or a comment.",
        (
            "busbox: bench.toml:2: is not valid TOML: a line must be a comment, KEY = VALUE "
            "or [TABLE]\n"
        ),
        edits=(('settle = "1 ms"', '! settle = "1 ms"'),),
    ),
    Spoiled(
        "A path with backslashes needs single quotes.",
        (
            "busbox: bench.toml:45: is not valid TOML: \\ in a string must be doubled; or use "
            "single quotes\n"
        ),
        edits=(('"day.steps"', '"day\\steps"'),),
    ),
    Spoiled(
        "Other mistakes are not told beside a syntax error.",
        "busbox: bench.toml:9: is not valid TOML: a key must be followed by = and a value\n",
        edits=(("watchdog = 64\n", ("watchdog = true\nwatchdog\n")),),
    ),
    Spoiled(
        "A bench must be UTF-8.",
        "busbox: bench.toml:2: must be UTF-8 text, not byte 0xe4\n",
        files={"bench.toml": b'clock = "16 MHz"\n# \xe4\n'},
    ),
    Spoiled(
        "A bench of zeros and ones is no text.",
        (
            "busbox: bench.toml:1: is not valid TOML: a line must be a comment, KEY = VALUE "
            "or [TABLE]\n"
        ),
        files={"bench.toml": b"\x00\x01"},
    ),
    Spoiled(
        "Brackets must not be nested without end.",
        "busbox: bench.toml: what is nested in it (tables, lists, dotted keys) must have at most 32 "
        "levels; BUSBOX_MOST_NESTING raises this limit\n",
        files={"bench.toml": "x = " + "[" * 9000 + "\n"},
    ),
    Spoiled(
        "A number must not be too long.",
        "busbox: bench.toml: is not valid TOML: a number has too many digits\n",
        files={"bench.toml": "x = " + "9" * 9000 + "\n"},
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
