"""Mistakes in the declaration of a device: told in one sentence, with what there is."""

from __future__ import annotations

import dataclasses
import gc
import re
from pathlib import Path
from typing import Any

import pytest

from busbox import Field, Pin, Register, RegisterTable, Setting
from busbox.basics.declaring import with_known_keywords
from tests.cli.saying import say

pytestmark = pytest.mark.quick

AT = "busbox: dimmer/bench.toml:8: slot.dimmer.model: "
#: What is replaced in the file of a new device, by what, and what is told.
CASES = {
    "a kind of access": (
        '"ro", "The',
        '"ones_clar", "The',
        "ValueError: access of COUNT.VALUE must be one of rw, ro, wo, ones_clear, ones_act, "
        "not 'ones_clar'; did you mean 'ones_clear'?",
    ),
    "a keyword of Register": (
        "width=8)",
        "widht=8)",
        "TypeError: Register has no keyword 'widht'; did you mean 'width'? (known: name, "
        "offset, access, text, fields, width, reset, count, whole or kept)",
    ),
    "a keyword of Field": (
        '"LAMP", 7, 0',
        '"LAMP", 7, 0, rest=3',
        "TypeError: Field has no keyword 'rest'; did you mean 'reset'? (known: name, high, "
        "low, access, reset or text)",
    ),
    "a keyword of Pin": (
        'Pin("lamp", text',
        'Pin("lamp", txt',
        "TypeError: Pin has no keyword 'txt'; did you mean 'text'? (known: name, direction, "
        "level, text, released or carries)",
    ),
    "a keyword of Setting": (
        "low=1",
        "lo=1",
        "TypeError: Setting has no keyword 'lo'; did you mean 'low'? (known: name, default, "
        "kind, low, high, choices, text, unit or example)",
    ),
    "a comma after a single field": (
        '(Field("LAMP", 7, 0),)',
        '(Field("LAMP", 7, 0))',
        "ValueError: fields of LEVEL must be a tuple; a single one needs a comma: (Field(...),)",
    ),
    "a field that is none": (
        '(Field("LAMP", 7, 0),)',
        '("LAMP",)',
        "ValueError: fields of LEVEL must be a tuple of Field objects, such as (Field(...), "
        "Field(...)); found 'LAMP'",
    ),
    "an offset in quotes": (
        '"COUNT", 0x04',
        '"COUNT", "0x04"',
        "ValueError: offset of COUNT must be a whole number from 0 to 4_294_967_292, not '0x04'",
    ),
    "bits in the wrong order": (
        '"LAMP", 7, 0',
        '"LAMP", 0, 7',
        "ValueError: LEVEL.LAMP must lie in bits 31..0, the high one given first, not 0..7",
    ),
    "a reset value that is too large": (
        '"LAMP", 7, 0',
        '"LAMP", 7, 0, reset=256',
        "ValueError: reset of LEVEL.LAMP must be a whole number from 0 to 255, not 256",
    ),
    "a width": (
        "width=8)",
        "width=40)",
        "ValueError: width of COUNT must be a whole number from 1 to 32, not 40",
    ),
    "a direction": (
        'Pin("lamp", ',
        'Pin("lamp", "out", ',
        "ValueError: direction of pin lamp must be one of output, input, not 'out'; did you mean "
        "'output'?",
    ),
    "what a pin carries": (
        'Pin("lamp", ',
        'Pin("lamp", carries="frame", ',
        "ValueError: what pin lamp carries must be one of frames, text, not 'frame'; did you mean "
        "'frames'?",
    ),
    "a kind of setting": (
        "low=1",
        'kind="integer", low=1',
        "ValueError: kind of setting period must be one of int, number, text, path, time, "
        "times, current, not 'integer'",
    ),
    "a default": (
        '"period", 255',
        '"period", 256',
        "ValueError: default of setting period must be a whole number from 1 to 255, not 256",
    ),
}
#: The same for what is found in the class, not in a line.
IN_CLASS = {
    "a method for a register": (
        "def show_COUNT",
        "def show_CONUT",
        "has a method show_CONUT, but no register 'CONUT'; did you mean 'COUNT'? (known: "
        "LEVEL or COUNT)",
    ),
    "a method in lower case": (
        "def show_COUNT",
        "def write_level",
        "has a method write_level, but no register 'level'; did you mean 'LEVEL'? (known: "
        "LEVEL or COUNT)",
    ),
    "a comma after a single pin": (
        'period."),)',
        'period."))',
        ": its pins must be a tuple; a single one needs a comma: (Pin(...),)",
    ),
    "a table that is none": (
        "table = RegisterTable(",
        "table = (",
        ": its registers must be a RegisterTable(Register(...), ...), not [Register(name='LEVEL',",
    ),
}
#: The same for what the hardware or the model asks for while it runs.
RUNNING = {
    "a register in build": (
        "registers.LEVEL.value",
        "registers.LEVLE.value",
        "DimmerHardware has no register 'LEVLE'; did you mean 'LEVEL'? (known: LEVEL or COUNT)",
    ),
    "a signal of a register": (
        "registers.LEVEL.value",
        "registers.LEVEL.valeu",
        "register LEVEL has no 'valeu'; did you mean 'value'? (known: value, sets, after, "
        "ones, written or taken)",
    ),
    "a pin in build": (
        "self.pin_lamp.eq",
        "self.pin_lmap.eq",
        "DimmerHardware has no 'pin_lmap'; did you mean 'pin_lamp'? (known: pin_lamp)",
    ),
    "a pin that a model drives": (
        'drive("lamp"',
        'drive("lmap"',
        "dimmer has no output pin 'lmap'; did you mean 'lamp'? (known: lamp)",
    ),
    "a stored register": (
        'stored["LEVEL"]',
        'stored["LEVLE"]',
        "dimmer has no register 'LEVLE'; did you mean 'LEVEL'? (known: LEVEL or COUNT)",
    ),
    "a setting": (
        '% self.options["period"]',
        '% self.options["preiod"]',
        "dimmer has no setting 'preiod'; did you mean 'period'? (known: period)",
    ),
}


@pytest.fixture
def spoil(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Any:
    """Return a function that spoils a new device, runs it, and returns what is told and the text."""
    monkeypatch.chdir(tmp_path)
    say(capsys, "new", "device", "dimmer")

    def spoiled(old: str, new: str, *words: str) -> tuple[str, str]:
        file = Path("dimmer/dimmer.py")
        text = file.read_text(encoding="utf-8")
        assert text.count(old) >= 1
        text = text.replace(old, new, 1)
        file.write_text(text, encoding="utf-8")
        return say(capsys, "run", "dimmer", *words, code=2), text

    return spoiled


@pytest.mark.parametrize("name", CASES)
def test_a_mistake_in_a_line_is_told_with_the_line(spoil: Any, name: str) -> None:
    """One line of text: bench, file with the line of the statement, sentence."""
    old, new, told = CASES[name]
    seen, text = spoil(old, new)
    head, _, rest = seen.partition(": does not load: ")
    assert rest == f"{told}\n"
    file, _, line = head.rpartition(":")
    assert file == f"{AT}dimmer/dimmer.py"
    before = text[: text.index(new)].count("\n") + 1
    assert before - 6 <= int(line) <= before  # the statement may have begun some lines above


@pytest.mark.parametrize("name", IN_CLASS)
def test_a_mistake_in_the_class_is_told_with_its_name(spoil: Any, name: str) -> None:
    """It is found before the run."""
    old, new, told = IN_CLASS[name]
    seen, _ = spoil(old, new)
    assert " ".join(seen.split()).startswith(
        f"{AT}'dimmer.py:Dimmer'{told if told[0] == ':' else ' ' + told}"
    )


@pytest.mark.filterwarnings("ignore::amaranth.hdl.UnusedElaboratable")
@pytest.mark.parametrize("name", RUNNING)
def test_an_unknown_name_in_the_code_is_told(spoil: Any, name: str) -> None:
    """No traceback, no warning: the name, the nearest one, and all that there are."""
    old, new, told = RUNNING[name]
    words = ["--all-hardware"] if told.startswith(("DimmerHardware", "register ")) else []
    seen = spoil(old, new, *words)[0]
    assert seen.count("\n") == 1
    if words:
        assert seen == f"busbox: {told}\n"
    else:  # in a hook: with its line
        head = re.escape(f"busbox: slot.dimmer: {told} (dimmer/dimmer.py:")
        assert re.fullmatch(head + r"\d+, in Dimmer\.\w+\)(, in cycle \d+, access \d+)?\n", seen)
    gc.collect()  # hardware that was just being built, while the mark holds


def test_what_is_right_is_taken_as_before() -> None:
    """Keywords, their order, lists of fields, replacing and comparing are those of a dataclass."""
    field = Field("BUSY", 0, 0)
    listed = Register("STATUS", 0, "ro", fields=[field])  # type: ignore[arg-type]
    assert listed == Register("STATUS", 0, "ro", "", (field,))
    assert dataclasses.replace(listed, offset=8).offset == 8
    assert [one.name for one in dataclasses.fields(Setting)][:2] == ["name", "default"]
    assert Pin("a", level=1) == dataclasses.replace(Pin("a"), level=1)
    assert list(RegisterTable(listed)) == [listed]


def test_every_keyword_is_known() -> None:
    """A dataclass under the check takes each of its own keywords and no other."""

    @with_known_keywords
    @dataclasses.dataclass
    class Lamp:
        colour: str = "red"
        watts: int = 1

    assert Lamp(colour="green", watts=2) == Lamp("green", 2)
    with pytest.raises(TypeError, match=r"^Lamp has no keyword 'wats'; did you mean 'watts'\? \("):
        Lamp(wats=1)  # type: ignore[call-arg]
