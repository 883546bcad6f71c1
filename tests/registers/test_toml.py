"""Declarations of registers in TOML: what they mean, and every mistake by its line and key."""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.map.registers import RegisterTable
from busbox.registers.loading import load_registers
from busbox.registers.toml_in import registers_from_toml
from tests.registers.drawn import facts, tables
from tests.test_documents import blocks

pytestmark = pytest.mark.quick

DIMMER = """\
[BRIGHTNESS]
offset = 0x00
text = "Brightness of the platform lamps."

[BRIGHTNESS.LEVEL]
bits = "7..0"
reset = 0x20

[BRIGHTNESS.FADING]
bits = 31
access = "ro"

[STEP]
offset = 0x10
count = 4
width = 16
reset = 0xffff
lanes = "1111"
kept = true
"""


def written(table: RegisterTable) -> str:
    """Return a table as TOML: everything that it says, in the simplest form."""
    lines = []
    for one in table:
        lines += [f"[{one.name}]", f"offset = {one.offset}", f'access = "{one.access}"']
        lines += [f"text = {json.dumps(one.text)}", f'lanes = "{one.whole:04b}"']
        lines += [f"kept = {str(one.kept).lower()}"] + (
            [f"count = {one.count}"] if one.count else []
        )
        if [field.name for field in one.fields] == ["VALUE"]:
            lines += [f"width = {one.fields[0].high + 1}", f"reset = {one.fields[0].reset}"]
            continue
        for field in one.fields:
            lines += [f"[{one.name}.{field.name}]", f'bits = "{field.bits}"']
            lines += [f"reset = {field.reset}", f"text = {json.dumps(field.text)}"]
            lines += [f'access = "{field.access}"'] if field.access else []
    return "\n".join([*lines, ""])


@given(tables())
@settings(max_examples=100, deadline=None)
def test_drawn_tables_come_back(
    tmp_path_factory: pytest.TempPathFactory, table: RegisterTable
) -> None:
    """A table that is written as TOML is read as the same one; no field can have the name of a key."""
    if table.registers:
        file = tmp_path_factory.mktemp("toml") / "a.toml"
        file.write_text(written(table), encoding="utf-8")
        if any(field.name == "reset" for one in table for field in one.fields):
            with pytest.raises(
                InputError, match="must be a number from 0 to 0xffffffff, not a table"
            ):
                registers_from_toml(file)
        else:
            assert facts(registers_from_toml(file)) == facts(table)


def test_a_declaration(tmp_path: Path) -> None:
    """One table for each register, fields inside; what is not given has the usual value."""
    (tmp_path / "dimmer.toml").write_text(DIMMER, encoding="utf-8")
    brightness, step = registers_from_toml(tmp_path / "dimmer.toml")
    assert [(one.name, one.bits, one.access, one.reset) for one in brightness.fields] == [
        ("LEVEL", "7..0", "", 0x20),
        ("FADING", "31", "ro", 0),
    ]
    assert (step.offset, step.count, step.width, step.reset, step.whole, step.kept) == (
        0x10, 4, 16, 0xFFFF, 15, True,
    )  # fmt: skip


def test_the_example_of_the_guide_is_a_declaration(tmp_path: Path) -> None:
    """The file that the guide shows declares what the guide says of it."""
    (block,) = [one for one in blocks("guide/registers") if one.file == "dimmer.toml"]
    (tmp_path / block.file).write_text(block.text, encoding="utf-8")
    brightness, step = load_registers(block.file, tmp_path)
    assert (brightness.reset_value, brightness.mask("ro")) == (0x20, 1 << 31)
    assert (step.offset, step.count, step.mask()) == (0x10, 4, 0xFFFF)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("offset = 0x00", "ofset = 0x00",
         "2: BRIGHTNESS.ofset: unknown key; did you mean 'offset'? (known: offset, access, text, "
         "width, reset, count, lanes, kept)\n1: BRIGHTNESS: must have an offset"),
        ("offset = 0x00", "offset = 0x02", "2: BRIGHTNESS.offset: must be a multiple of 4, not 0x2"),
        ("offset = 0x00", "offset = true",
         "2: BRIGHTNESS.offset: must be a multiple of 4 from 0 to 0xfffffffc, not true"),
        ("offset = 0x10", "offset = 0x00", "BRIGHTNESS and STEP share offset 0x0"),
        ('bits = "7..0"', 'bits = "0..7"',
         "6: BRIGHTNESS.LEVEL.bits: must be a bit such as 3, or bits such as '7..0', not '0..7'"),
        ('bits = "7..0"', 'bit = "7..0"',
         "6: BRIGHTNESS.LEVEL.bit: unknown key; did you mean 'bits'? (known: bits, access, reset, "
         "text)\n5: BRIGHTNESS.LEVEL: must have bits, such as bits = \"7..0\""),
        ("bits = 31", "bits = 7", "1: BRIGHTNESS: BRIGHTNESS.FADING overlaps another field"),
        ("reset = 0x20", "reset = 0x120", "7: BRIGHTNESS.LEVEL.reset: must fit into 8 bits, not 0x120"),
        ("reset = 0xffff", "reset = 0x10000", "17: STEP.reset: must fit into 16 bits, not 0x10000"),
        ('access = "ro"', 'access = "r"',
         "11: BRIGHTNESS.FADING.access: must be 'rw', 'ro', 'wo', 'ones_clear' or 'ones_act', not 'r'"),
        ('lanes = "1111"', 'lanes = "15"',
         "18: STEP.lanes: must be four binary digits such as '1111', not '15'"),
        ("count = 4", "count = 0", "15: STEP.count: must be a number of registers, at least 1, not 0"),
        ("text = \"B", "width = 8\ntext = \"B",
         "3: BRIGHTNESS.width: is only allowed in a register without fields"),
        ("[STEP]", "[STEP.text]",
         "13: STEP: must have an offset\n13: STEP.text: must be a string, not a table"),
        ("kept = true", "kept = true\n[WEST]\noffset", "21: is not valid TOML: "),
    ],
)  # fmt: skip
def test_every_mistake_has_its_line(old: str, new: str, message: str, tmp_path: Path) -> None:
    """The message names file, line, key, what was found and what was expected."""
    file = tmp_path / "dimmer.toml"
    assert old in DIMMER
    file.write_text(DIMMER.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as refused:
        registers_from_toml(file)
    said = str(refused.value).replace(f"{file}: ", "").replace(f"{file}:", "")
    assert said.startswith(message), said


def test_a_value_beside_the_tables_is_refused(tmp_path: Path) -> None:
    """A register is a table, and its name a name."""
    file = tmp_path / "a.toml"
    file.write_text('COUNT = 4\n["1st"]\noffset = 0\n', encoding="utf-8")
    with pytest.raises(InputError) as refused:
        registers_from_toml(file)
    assert [one.text.partition(",")[0] for one in refused.value.mistakes] == [
        "must be a table",
        "a name may contain only letters",
    ]
    file.write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="must declare a register"):
        registers_from_toml(file)


VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(-2, 2**33), st.text(max_size=4), st.floats(0, 9)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=2),
        st.dictionaries(
            st.sampled_from(["offset", "bits", "A", "reset", "lanes"]), inner, max_size=3
        ),
    ),
    max_leaves=6,
)


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + "}"
    return repr(value)


@given(st.dictionaries(st.sampled_from(["A", "B", "offset"]), VALUES, max_size=3))
@settings(max_examples=200, deadline=None)
def test_whatever_is_in_the_file_it_is_a_table_or_an_input_error(
    tmp_path_factory: pytest.TempPathFactory, keys: dict
) -> None:
    """No value of a key ends in another error."""
    file = tmp_path_factory.mktemp("toml") / "a.toml"
    text = "".join(f"{key} = {_toml(value)}\n" for key, value in keys.items())
    file.write_text(text, encoding="utf-8")
    with suppress(InputError):
        assert registers_from_toml(file).registers
