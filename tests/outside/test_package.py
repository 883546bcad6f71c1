"""A package from outside adds one thing of each kind, and each works from the command line."""

from __future__ import annotations

import json
import re
import struct
from pathlib import Path

import pytest

from busbox.cpu.steps import AccessStep
from busbox.formats.files import read_traffic, write_traffic
from tests.outside.conftest import Busbox

BENCH = """\
clock = "1 MHz"

[slot.tower]
model = "bell"
base = 0x1000
size = 4

[traffic]
{traffic}

[attach.ear]
kind = "gong"
pin = "tower.hammer"
"""

#: Two strokes of 30 cycles; the second comes too early for the bell, the third does not.
STROKES = struct.pack("<6I", 0x1000, 30, 0x1000, 30, 0x1000, 5)


def lay_out(folder: Path, traffic: str) -> None:
    """Write a bench with the bell."""
    (folder / "bench.toml").write_text(BENCH.format(traffic=traffic), encoding="utf-8")


def test_device_format_attachment_and_export_work_in_one_run(
    busbox: Busbox, tmp_path: Path
) -> None:
    """A binary traffic file rings the bell, the gong counts, and the export has the edges.

    A write that is raised in cycle 1 with one wait state ends in 2 and shows in 3 (semantics page,
    rules 2, 4, 10); the bell of 30 cycles falls silent in 33.
    """
    (tmp_path / "day.bells").write_bytes(STROKES[:8])
    lay_out(tmp_path, 'file = "day.bells"')
    page = busbox("run", "bench.toml", "--write", "strokes=edges.txt", "--strict")
    assert "Attached: ear, gong at tower.hammer\n  strokes  1\n" in page
    edges = (tmp_path / "edges.txt").read_text(encoding="utf-8")
    assert edges == "tower 0 0\ntower 3 1\ntower 33 0\n"
    found = json.loads(busbox("run", "bench.toml", "--json"))
    assert found["slots"]["tower"]["model"] == "bell"
    assert found["attached"]["ear"]["strokes"] == 1


def test_an_export_goes_to_standard_output_in_the_place_of_the_summary(
    busbox: Busbox, tmp_path: Path
) -> None:
    """``--write NAME=-`` prints the export and nothing else."""
    (tmp_path / "day.bells").write_bytes(STROKES)
    lay_out(tmp_path, 'file = "day.bells"')
    page = busbox("run", "bench.toml", "--write", "strokes=-")
    assert page == "tower 0 0\ntower 3 1\ntower 33 0\n"


def test_a_source_plays_with_its_settings(busbox: Busbox, tmp_path: Path) -> None:
    """``source`` names it, the other keys are its settings, and ``--set`` changes them."""
    lay_out(tmp_path, 'source = "peal"\nbell = "tower"\ncount = 2')
    for more, strokes in ((), 2), (("--set", "traffic.count=4"), 4):
        found = json.loads(busbox("run", "bench.toml", "--json", *more))
        assert found["attached"]["ear"]["strokes"] == strokes
    told = busbox("run", "bench.toml", "--set", "traffic.count=100", code=2)
    assert told == ("busbox: --set: traffic.count: must be a whole number from 1 to 99, not 100\n")


def test_an_attachment_brings_a_rule_of_its_own(busbox: Busbox, tmp_path: Path) -> None:
    """What the gong finds stands in summary and JSON, counts, and is explained.

    A stroke of 5 cycles, raised in cycle 1 with one wait state, shows from 3 to 7.
    """
    (tmp_path / "day.bells").write_bytes(STROKES[16:])
    lay_out(tmp_path, 'file = "day.bells"')
    page = busbox("run", "bench.toml", "--strict", code=1)
    assert "\n  stroke-too-short  finding.0\n    cycle 3 (3 us), access 0" in page
    assert (
        "\n    ear: a stroke lasts 5 cycles; 10 are needed.\n    try: Strike for longer.\n" in page
    )
    found = json.loads(busbox("run", "bench.toml", "--json"))
    assert found["counts"] == {"stroke-too-short": {"ear": 1}}
    assert "A stroke is too short to be heard." in busbox("explain", "stroke-too-short")
    assert "stroke-too-short" in busbox("explain")
    expect = 'expect=[{findings={rule="stroke-too-short",exactly=0}}]'
    assert "Expectations: 0 of 1 met" in busbox("run", "bench.toml", "--set", expect, code=1)


def test_a_rule_counts_where_a_bench_names_it(busbox: Busbox, tmp_path: Path) -> None:
    """The package's rule finds what it finds in a bench that names it, and nothing elsewhere."""
    (tmp_path / "day.bells").write_bytes(STROKES)
    lay_out(tmp_path, 'file = "day.bells"')
    found = json.loads(busbox("run", "bench.toml", "--json"))
    assert "stroke-in-haste" not in found["counts"]
    named = ("--set", 'rules=["stroke-in-haste"]')
    found = json.loads(busbox("run", "bench.toml", "--json", *named))
    assert found["counts"]["stroke-in-haste"] == {"tower.STRIKE": 2}
    assert "Two strokes were struck" in busbox("explain", "stroke-in-haste")


def test_a_verb_runs_with_our_exit_codes(busbox: Busbox, tmp_path: Path) -> None:
    """It writes a file of the package's format; what is wrong with its words is told as ours."""
    assert busbox("strike", "a.bells", "--times", "2") == "2\n"
    assert (tmp_path / "a.bells").read_bytes() == struct.pack("<4I", 0x1000, 30, 0x1000, 30)
    assert busbox("strike", "a.bells", "--times", "0", code=1) == "0\n"
    told = busbox("strike", "a.bells", "--time", "2", code=2)
    assert told.startswith("busbox: strike: there is no option '--time'; did you mean '--times'?")
    told = busbox("strike", "a.bels", code=2)
    assert told == (
        "busbox: a.bels: a traffic file must end in .steps, .csv, .vcd or .bells "
        "(optionally followed by .gz), or be "
        "FILE.py:FUNCTION, not 'a.bels'; did you mean '.bells'?\n"
    )
    told = busbox("strike", "a.bells", "--address", "tower", code=2)
    assert told.startswith(
        "busbox: verb strike raised ValueError: invalid literal for int() with base 0: 'tower' ("
    )
    assert re.search(r"strike\.py:\d+, in strike\)\n$", told)


def test_traffic_is_converted_to_and_from_the_format(busbox: Busbox, tmp_path: Path) -> None:
    """Steps become bytes and come back; a step that the format cannot hold is refused by number."""
    (tmp_path / "a.steps").write_text("write 0x1000 30\nwrite 0x1000 5\n", encoding="utf-8")
    assert busbox("convert", "a.steps", "b.bells.gz") == "b.bells.gz: 2 steps\n"
    busbox("convert", "b.bells.gz", "c.steps")
    steps = (tmp_path / "c.steps").read_text(encoding="utf-8")
    assert steps == "write  0x00001000 0x1e\nwrite  0x00001000 0x5\n"
    (tmp_path / "a.steps").write_text("write 0x1000 30\nread 0x1000\n", encoding="utf-8")
    told = busbox("convert", "a.steps", "d.bells", code=2)
    assert told == "busbox: d.bells: step 2: bells hold writes by number only\n"
    assert not (tmp_path / "d.bells").exists()
    (tmp_path / "d.bells").write_bytes(STROKES[:11])
    told = busbox("convert", "d.bells", "c.steps", code=2)
    assert told == "busbox: d.bells: must hold records of 8 bytes; the last is cut short\n"


@pytest.mark.parametrize(
    ("what", "line"),
    [
        ("devices", "bell signal-bell 0.1 A station bell: a write to STRIKE moves the hammer"),
        ("formats", "bells signal-bell 0.1 Writes of eight bytes each: address and word."),
        ("sources", "peal signal-bell 0.1 Strikes a bell so many times."),
        ("attachments", "gong signal-bell 0.1 Counts the strokes of a hammer."),
        ("rules", "stroke-in-haste signal-bell 0.1 Two strokes were struck without a pause"),
        ("exports", "strokes signal-bell 0.1 Every edge of every hammer, a line each."),
        ("verbs", "strike signal-bell 0.1 Write traffic that strikes a bell."),
    ],
)
def test_each_shows_in_its_list_with_its_package(what: str, line: str, busbox: Busbox) -> None:
    """``busbox list`` names what the package adds, and the package."""
    assert line in " ".join(busbox("list", what).split())


def test_the_pages_of_models_attachments_and_help_show_it(busbox: Busbox) -> None:
    """One device and one kind are shown like ours; the verb has a group of its own in the help."""
    assert "bell\n  A station bell:" in busbox("models", "bell")
    assert "gong: decodes at a pin\n" in busbox("attachments", "gong")
    assert "bell       signal-bell 0.1  A station bell" in busbox("models")
    page = busbox("--help")
    assert "\nFrom plug-ins:\n  strike  Write traffic that strikes a bell.\n" in page


def test_the_format_reads_back_what_it_wrote(
    installed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The round trip that ours make: any writes, packed or not."""
    monkeypatch.syspath_prepend(installed)
    steps = [AccessStep(True, 4 * number, 0xFFFF_FFFF - number) for number in range(300)]
    for name in ("a.bells", "a.bells.gz"):
        assert write_traffic(tmp_path / name, steps) == 300
        assert list(read_traffic(tmp_path / name)) == steps


def test_two_things_with_one_name_are_told(busbox: Busbox, tmp_path: Path) -> None:
    """A second package with a bell, and a gpio of its own: neither wins in silence."""
    folder = tmp_path / "site" / "station_bell-2.dist-info"
    folder.mkdir(parents=True)
    (folder / "METADATA").write_text("Name: station-bell\nVersion: 2\n", encoding="utf-8")
    (folder / "entry_points.txt").write_text(
        "[busbox.devices]\nbell = busbox.models.gpio:Gpio\ngpio = busbox.models.uart:Uart\n"
        "[busbox.verbs]\nrun = busbox.cli.map_verb:command\n",
        encoding="utf-8",
    )
    told = busbox("models", "bell", code=2, besides=folder.parent)
    both = "model 'bell' is offered by more than one package, signal-bell 0.1 and station-bell 2"
    assert told == f"busbox: {both}: uninstall all but one of them\n"
    page = " ".join(busbox("models", besides=folder.parent).split())
    assert f"bell signal-bell 0.1 and station-bell 2 cannot be used: {both}" in page
    taken = "cannot be used: plug-in 'gpio' of station-bell 2 has the name of a built-in model"
    assert f"gpio station-bell 2 {taken}" in page
    page = " ".join(busbox("--help", besides=folder.parent).split())
    assert "run cannot be used: plug-in 'run' of station-bell 2 has the name of a built-in" in page
