"""Exports by name: a file and standard output hold the same, and options stand for exports."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from busbox.cli import main
from busbox.plugins import EXPORTS
from tests.cli.saying import say


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("name", sorted(EXPORTS.built_in))
def test_a_file_and_standard_output_hold_the_same(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each built-in export, written to both in one run, gives the same text, and no other file."""
    run = ("run", "first_light", "--until", "900")
    shown = say(capsys, *run, "--write", f"{name}=kept.txt", "--write", f"{name}=-")
    assert Path("kept.txt").read_bytes().decode("utf-8") == shown
    assert len(shown.splitlines()) > 3
    assert [one.name for one in Path().iterdir()] == ["kept.txt"]


def test_options_stand_for_exports(capsys: pytest.CaptureFixture[str]) -> None:
    """``--json`` prints what ``--write json=-`` does, ``--vcd`` writes what ``--write vcd=`` does."""
    run = ("run", "first_light", "--until", "900")
    assert say(capsys, *run, "--json") == say(capsys, *run, "--write", "json=-")
    summary = say(capsys, *run, "--vcd", "a.vcd", "--write", "vcd=b.vcd")
    assert Path("a.vcd").read_bytes() == Path("b.vcd").read_bytes()
    assert summary == say(capsys, *run) == say(capsys, *run, "--write", "summary=-")


def test_exports_hold_what_options_add(capsys: pytest.CaptureFixture[str]) -> None:
    """``--coverage`` adds its object to every JSON, and its section to every summary."""
    words = ("--coverage", "--write", "json=a.json", "--write", "summary=a.txt")
    page = say(capsys, "run", "first_light", "--until", "900", *words, "--write", "coverage=-")
    assert page.strip() in Path("a.txt").read_text(encoding="utf-8")
    assert "coverage" in json.loads(Path("a.json").read_text(encoding="utf-8"))


def test_a_set_prints_one_list_of_objects(capsys: pytest.CaptureFixture[str]) -> None:
    """Several objects are laid out as json lays out a list; a file for all of them is refused."""
    text = say(capsys, "run", "bit_banging", "--until", "200", "--json", code=1)
    objects = json.loads(text)
    assert [one["bench"] for one in objects] == sorted(one["bench"] for one in objects)
    assert len(objects) == 3
    assert text == json.dumps(objects, indent=2) + "\n"
    for words in (("--vcd", "a.vcd"), ("--write", "json=a.json")):
        told = say(capsys, "run", "bit_banging", *words, code=2)
        assert told == (
            f"busbox: {words[0]}: must not be used with a folder of benches, 'bit_banging'\n"
        )


def test_a_name_that_a_waveform_cannot_hold_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """A slot's name outside ASCII (IEEE 1364-2005, clause 18) is refused, and no file is left.

    The summary of the run is told all the same.
    """
    bench = 'clock = "1 MHz"\n[slot."lampé"]\nmodel = "gpio"\nbase = 0\nsize = 0x1000\n'
    Path("bench.toml").write_text(bench + '[traffic]\nfile = "a.steps"\n', encoding="utf-8")
    Path("a.steps").write_text("write 0 1\n", encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["run", "bench.toml", "--vcd", "a.vcd"])
    assert ended.value.code == 2
    seen = capsys.readouterr()
    assert seen.err == "busbox: --vcd: a VCD file holds ASCII names only, not 'lampé'\n"
    assert "Findings: none" in seen.out
    assert {one.name for one in Path().iterdir()} == {"bench.toml", "a.steps"}
