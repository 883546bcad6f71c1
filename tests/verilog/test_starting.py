"""What registers and memories hold in cycle 0 (rules 2 to 5 of busbox.verilog)."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from busbox import Bench
from tests.engines.test_engines_agree import agree
from tests.verilog.netlists import needs_front_end

pytestmark = needs_front_end

AROUND = """
module desk(input clk, input rst, input psel, input penable, input pwrite, input [7:0] paddr,
            input [31:0] pwdata, output [31:0] prdata, output pready, output lamp);
  wire written = psel & penable & pwrite;
  wire [1:0] word = paddr[3:2];
  integer i;
  assign pready = 1;
"""


@dataclass(frozen=True)
class Case:
    """A module, and what it shows: words read, level of the lamp in cycle 0."""

    body: str
    steps: str
    words: list[int]
    lamp: int = 0
    undefined: tuple[str, ...] = ()
    overruled: tuple[str, ...] = ()


CASES = {
    "a synchronous reset sets it": Case(
        "reg [7:0] n; assign prdata = n, lamp = n[0]; always @(posedge clk) if (rst) n <= 8'h45;",
        "read 0", [0x45], 1,
    ),
    "an asynchronous reset sets it": Case(
        "reg [7:0] n; assign prdata = n, lamp = n[0];"
        "always @(posedge clk or posedge rst) if (rst) n <= 8'h45; else if (written) n <= pwdata;",
        "read 0\nwrite 0 2\nread 0\nreset\nread 0", [0x45, 2, 2, 0x45], 1,
    ),
    "the reset goes before an initial value": Case(
        "reg [7:0] n = 9; assign prdata = n, lamp = n[0]; always @(posedge clk) if (rst) n <= 4;",
        "read 0", [4], 0, (), ("n",),
    ),
    "an initial value is kept where the reset does nothing": Case(
        "reg [7:0] n = 9; assign prdata = n, lamp = n[0];"
        "always @(posedge clk) if (written) n <= pwdata;",
        "read 0\nwrite 0 6\nreset\nread 0", [9, 6, 6], 1,
    ),
    "only some bits are set": Case(
        "reg [7:0] n; assign prdata = n, lamp = n[0];"
        "always @(posedge clk) if (rst) n[3:0] <= 4'h5; else if (written) n <= pwdata;",
        "read 0", [0x05], 1, ("n",),
    ),
    "a constant that a write would give is no reset": Case(
        "reg on; assign prdata = on, lamp = on; always @(posedge clk) if (written) on <= 1;",
        "read 0\nwrite 0 0\nread 0", [0, 0, 1], 0, ("on",),
    ),
    "x as a choice is no value": Case(
        "reg on; assign prdata = on, lamp = on;"
        "always @(posedge clk) on <= rst ? 1'bx : written ? pwdata[0] : on;",
        "read 0\nwrite 0 1\nread 0", [0, 1, 1], 0, ("on",),
    ),
    "what follows from a register that is reset is set too": Case(
        "reg a, b; assign prdata = {b, a}, lamp = b;"
        "always @(posedge clk) begin b <= a; a <= rst | (a & ~written); end",
        "read 0\nwrite 0 0\nread 0", [3, 0, 0], 1,
    ),
    "a reset sets the words of a memory": Case(
        "reg [7:0] m [0:3]; assign prdata = m[word], lamp = 0; always @(posedge clk) "
        "if (rst) for (i = 0; i < 4; i = i + 1) m[i] <= 8'h50 + i;"
        "else if (written) m[word] <= pwdata;",
        "read 0\nread 12\nwrite 4 9\nread 4\nreset\nread 4", [0x50, 0x53, 9, 9, 0x51],
    ),
    "a reset sets some words of a memory": Case(
        "reg [7:0] m [0:3]; assign prdata = m[word], lamp = 0; initial m[3] = 7; always @(posedge clk) "
        "if (rst) begin m[1] <= 8'h33; m[3] <= 8; end else if (written) m[word] <= pwdata;",
        "read 0\nread 4\nread 8\nread 12", [0, 0x33, 0, 8], 0, ("m",), ("m",),
    ),
    "a write that only a reset with PSEL makes sets no word": Case(
        "reg [7:0] m [0:3]; assign prdata = m[word], lamp = 0;"
        "initial begin m[0] = 5; m[2] = 6; m[3] = 7; end always @(posedge clk) "
        "if (rst) begin if (psel) m[1] <= 8'h33; end else if (written) m[word] <= pwdata;",
        "read 0\nread 4\nread 8\nread 12", [5, 0, 6, 7], 0, ("m",),
    ),
    "a write at any address in a reset leaves no word set": Case(
        "reg [7:0] m [0:3]; assign prdata = m[word], lamp = 0;"
        "initial begin m[0] = 5; m[2] = 6; m[3] = 7; end always @(posedge clk) "
        "begin if (rst) m[1] <= 8'h33; if (rst | written) m[word] <= pwdata; end",
        "read 4\nread 8\nread 12", [0x33, 6, 7], 0, ("m",),
    ),
    "a reset sets words to their initial values": Case(
        "reg [7:0] m [0:3]; assign prdata = m[word], lamp = 0;"
        "initial for (i = 0; i < 4; i = i + 1) m[i] = 8'h13 + i; always @(posedge clk) "
        "if (rst) for (i = 0; i < 4; i = i + 1) m[i] <= 8'h13 + i;"
        "else if (written) m[word] <= pwdata;",
        "read 0\nread 12", [0x13, 0x16],
    ),
    "a reset sets a part of a word": Case(
        "reg [7:0] m [0:3]; assign prdata = m[word], lamp = 0;"
        "initial for (i = 0; i < 4; i = i + 1) m[i] = 8'h34 + i; always @(posedge clk) "
        "if (rst) m[1][3:0] <= 5; else if (written) m[word] <= pwdata;",
        "read 0\nread 4", [0x34, 0x35],
    ),
    "the first word of a memory is not number 0": Case(
        "reg [7:0] m [4:7]; wire [2:0] at = paddr[4:2]; assign prdata = m[at], lamp = 0;"
        "initial for (i = 4; i < 8; i = i + 1) m[i] = 8'h20 + i; always @(posedge clk) "
        "if (rst) m[5] <= 8'h99; else if (written) m[at] <= pwdata;",
        "write 0 1\nwrite 12 2\nwrite 24 3\nread 16\nread 20\nread 24\nread 28",
        [1, 2, 3, 0x24, 0x99, 3, 0x27], 0, (), ("m",),
    ),
    "an asynchronous reset sets the words of a memory": Case(
        "reg [7:0] m [0:3]; assign prdata = m[word], lamp = 0; always @(posedge clk or posedge rst)"
        "if (rst) for (i = 0; i < 4; i = i + 1) m[i] <= 8'h50 + i;"
        "else if (written) m[word] <= pwdata;",
        "read 0\nread 12\nwrite 4 9\nread 4\nreset\nread 4", [0x50, 0x53, 9, 9, 0x51],
    ),
}  # fmt: skip


def bench(folder: Path, case: Case) -> Bench:
    """Return the bench of a case."""
    (folder / "desk.v").write_text(f"{AROUND}  {case.body}\nendmodule\n", encoding="utf-8")
    (folder / "noon.steps").write_text(case.steps, encoding="utf-8")
    slot = {"model": "desk.v:desk", "base": 0, "size": 0x100}
    traffic = {"file": "noon.steps"}
    return Bench({"clock": "1 MHz", "slot": {"desk": slot}, "traffic": traffic}, folder=folder)


@pytest.mark.parametrize("name", CASES)
def test_cycle_0_is_as_after_a_reset(name: str, tmp_path: Path) -> None:
    """Words read, the lamp in cycle 0, and the names of what is undefined or overruled."""
    case = CASES[name]
    made = bench(tmp_path, case)
    (device,) = made.system().devices
    start = device.model.made({}).start
    assert (start.undefined, start.overruled) == (case.undefined, case.overruled)
    run = made.run("reference")
    assert run.accesses.data.tolist() == case.words
    cycles, levels = run.edges("desk.lamp")
    assert (cycles[0], levels[0]) == (0, case.lamp)
    agree(run, made.run("python"))


@pytest.mark.parametrize("edge", ["", " or posedge rst"])
def test_a_reset_in_the_middle_shows_from_its_second_cycle(edge: str, tmp_path: Path) -> None:
    """Pins and words are at their reset values then (rules 13 to 16 of the semantics page)."""
    body = (
        "reg n; assign prdata = n, lamp = n;"
        f"always @(posedge clk{edge}) if (rst) n <= 0; else if (written) n <= pwdata;"
    )
    run = bench(tmp_path, Case(body, "write 0 1\npause 3\nreset\nread 0", [])).run()
    ((begin, _),) = run.resets
    cycles, levels = run.edges("desk.lamp")
    assert levels.tolist() == [0, 1, 0]
    assert cycles[-1] == begin + 1
    assert run.accesses.data.tolist() == [1, 0]
    assert any("its reset is asynchronous" in note for note in run.notes) == bool(edge)
