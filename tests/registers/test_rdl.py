"""SystemRDL 2.0: what goes out comes in the same; what has no meaning is refused by its line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings

from busbox.basics.errors import InputError
from busbox.map.registers import RegisterTable
from busbox.map.slots import Slot
from busbox.registers.layout import layout_of
from busbox.registers.names import stem
from busbox.registers.rdl_out import KEYWORDS, rdl
from tests.registers.drawn import SHIPPED, facts, shipped, tables

systemrdl = pytest.importorskip("systemrdl")
from busbox.registers.rdl_in import registers_of  # noqa: E402

pytestmark = pytest.mark.quick


@pytest.mark.parametrize("bench", SHIPPED)
def test_the_tables_of_every_bench_come_back(bench: str, tmp_path: Path) -> None:
    """Out then in, each slot has the same registers."""
    layout = shipped(bench)
    (tmp_path / "map.rdl").write_text(rdl(layout), encoding="utf-8")
    for slot in layout.slots:
        if slot.slot.table.registers:
            name = f"{stem(slot.slot.name).lower()}_registers"
            back = registers_of(tmp_path / "map.rdl", name)
            assert facts(back) == facts(slot.slot.table)


@pytest.mark.parametrize("bench", SHIPPED)
def test_the_whole_map_has_the_addresses_of_the_bench(bench: str, tmp_path: Path) -> None:
    """Elaborated by the compiler alone, each register is where the bench has it."""
    layout = shipped(bench)
    (tmp_path / "map.rdl").write_text(rdl(layout), encoding="utf-8")
    compiler = systemrdl.RDLCompiler()
    compiler.compile_file(str(tmp_path / "map.rdl"))
    top = compiler.elaborate(layout.prefix.lower()).top
    found = {
        (slot.inst_name, register.inst_name): register.raw_absolute_address
        for slot in top.children()
        for register in slot.registers()
    }
    assert found == {
        (slot.slot.name, named.register.name): named.address
        for slot in layout.slots
        for named in slot.registers
    }


@given(tables())
@settings(max_examples=60, deadline=None)
def test_drawn_tables_come_back(
    tmp_path_factory: pytest.TempPathFactory, table: RegisterTable
) -> None:
    """Out then in, a table is the same: accesses, resets, arrays, texts and names that are keywords."""
    layout = layout_of("b", "", [(Slot("dimmer", 0, 0x1000, table=table), "dimmer")])
    file = tmp_path_factory.mktemp("rdl") / "map.rdl"
    if not table.registers:
        with pytest.raises(InputError, match="no address map without registers"):
            rdl(layout)
        return
    file.write_text(rdl(layout), encoding="utf-8")
    assert facts(registers_of(file)) == facts(table)


def test_the_keywords_are_those_of_the_compiler() -> None:
    """Every reserved word that the compiler's grammar knows is one that we escape."""
    from systemrdl.parser.SystemRDLLexer import SystemRDLLexer

    literals = [text.strip("'") for text in SystemRDLLexer.literalNames]
    words = {text for text in literals if re.fullmatch("[a-z_][a-z0-9_]*", text)}
    assert words
    assert words <= KEYWORDS


DIMMER = """\
addrmap dimmer {
    default sw = rw; default hw = r; default reset = 0;
    reg { desc = "Brightness of the platform lamps.";
        field { reset = 0x20; } LEVEL[7:0];
        field { sw = r; hw = w; desc = "It is fading."; } FADING[31:31];
    } BRIGHTNESS @ 0x0;
    reg { field { sw = w; singlepulse; reset = 0; } START[0:0]; } CONTROL @ 0x4;
    reg { field { hw = w; hwset; woclr; } DONE[0:0]; } STATUS @ 0x8;
    regfile { reg { field {} VALUE[31:0]; } STEP[4]; } EAST @ 0x10;
};
"""


def test_a_file_of_somebody_else(tmp_path: Path) -> None:
    """Defaults, register files, arrays and the standard's own properties are understood."""
    (tmp_path / "dimmer.rdl").write_text(DIMMER, encoding="utf-8")
    table = registers_of(tmp_path / "dimmer.rdl")
    brightness, control, status, steps = table
    assert [one.name for one in table] == ["BRIGHTNESS", "CONTROL", "STATUS", "EAST_STEP"]
    assert brightness.text == "Brightness of the platform lamps."
    assert brightness.reset_value == 0x20
    assert brightness.mask("ro") == 1 << 31
    assert control.mask("ones_act") == 1
    assert status.mask("ones_clear") == 1
    assert (steps.offset, steps.count, steps.width) == (0x10, 4, 32)


@pytest.mark.parametrize(
    ("old", "new", "line", "text"),
    [
        ("reset = 0x20;", "reset = 0x20; rclr;", 4, "LEVEL has onread = rclr, which Busbox does not"),
        ("reset = 0x20;", "reset = 0x20; onwrite = wot;", 4, "LEVEL has sw = rw with onwrite = wot"),
        ("reset = 0x20;", "reset = 0x20; sw = rw1;", 4, "LEVEL has sw = rw1, which Busbox does not"),
        ("reset = 0x20;", "reset = 0x20; counter;", 4, "LEVEL has counter, which Busbox does not"),
        ("reset = 0x20;", "reset = 0x20; intr;", 4, "LEVEL has intr, which Busbox does not"),
        ("[7:0]", "[7:0", 4, "is not valid SystemRDL: "),
        ("STEP[4]", "STEP[4] += 8", 9, "STEP must be an array 4 bytes apart, not 8"),
        ("STEP[4]", "STEP[2][2]", 9, "STEP must be an array of one dimension"),
        ("EAST @", "EAST[2] @", 9, "EAST must not be an array"),
        ("reg { field {} V", "reg { regwidth = 64; field {} V", 9, "STEP must have 32 bits, not 64"),
        ("reg { field {} V", "reg { accesswidth = 16; field {} V", 9, "STEP must have accesswidth 8"),
        ("default reset = 0;", "", 4, None),
        ("desc = \"It", "desc = \"<%=1%> It", 5, "must not have <%: embedded Perl is not run"),
        ("default hw = r;", "default hw = r;\n`include \"a.rdl\"\n", 3, "must not have `include"),
        ("    reg { field { hw = w; hwset", "    bigendian;\n    reg { field { hw = w; hwset", 8,
         "has bigendian, which Busbox does not"),
    ],
)  # fmt: skip
def test_what_has_no_meaning_is_refused_by_its_line(
    old: str, new: str, line: int, text: str | None, tmp_path: Path
) -> None:
    """One sentence says what, where and in which line."""
    assert old in DIMMER
    file = tmp_path / "dimmer.rdl"
    file.write_text(DIMMER.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as refused:
        registers_of(file)
    first = refused.value.mistakes[0]
    assert first.where == str(file)
    if text is None:
        assert [one.text.partition(" ")[0] for one in refused.value.mistakes] == ["DONE", "VALUE"]
        assert "must have a reset value" in first.text
    else:
        assert (first.line, text in first.text) == (line, True), first


def test_which_address_map(tmp_path: Path) -> None:
    """One without address maps inside is taken; of several, the file's name must say which."""
    file = tmp_path / "map.rdl"
    file.write_text(DIMMER + "addrmap board { dimmer east @ 0; };", encoding="utf-8")
    assert registers_of(file).names[0] == "BRIGHTNESS"
    file.write_text(DIMMER + DIMMER.replace("dimmer", "shutter"), encoding="utf-8")
    assert registers_of(file, "shutter").names[0] == "BRIGHTNESS"
    with pytest.raises(InputError, match=r"name one: map\.rdl:dimmer \(dimmer or shutter\)"):
        registers_of(file)
    with pytest.raises(InputError, match="there is no addrmap 'shuter'; did you mean 'shutter'"):
        registers_of(file, "shuter")
    file.write_text("reg counter { field {} VALUE[31:0]; };", encoding="utf-8")
    with pytest.raises(InputError, match="must define an addrmap"):
        registers_of(file)
