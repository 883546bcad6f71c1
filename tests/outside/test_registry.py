"""The registry: what is found where, and what is told of things that cannot be used."""

from __future__ import annotations

import importlib.metadata
import re
from pathlib import Path

import pytest

from busbox import load_bench
from busbox.basics.errors import InputError
from busbox.cli import main
from busbox.explain.difference import first_difference
from busbox.plugins import (
    ATTACHMENTS,
    BUSES,
    DEVICES,
    ENGINES,
    EXPORTS,
    FORMATS,
    KINDS,
    RULES,
    SOURCES,
    VERBS,
    Kind,
    checked,
    entries,
    find,
    names,
)
from tests.cli.saying import say


def offered(monkeypatch: pytest.MonkeyPatch, kind: Kind, **targets: str) -> None:
    """Let a package offer things of one kind, by name."""
    points = [
        importlib.metadata.EntryPoint(name, target, kind.group) for name, target in targets.items()
    ]
    monkeypatch.setattr(
        importlib.metadata, "entry_points", lambda group: points if group == kind.group else []
    )


@pytest.mark.quick
@pytest.mark.parametrize("what", sorted(KINDS))
def test_every_built_in_thing_loads_and_keeps_its_contract(what: str) -> None:
    """Whatever comes with Busbox passes the check that things from outside pass."""
    kind = KINDS[what]
    for name in kind.built_in:
        checked(kind, name, find(kind, name))
    assert names(kind)[: len(kind.built_in)] == tuple(kind.built_in)
    assert {entry.origin for entry in entries(kind) if not entry.points} <= {"built-in"}


def test_groups_and_words_are_each_of_one_kind() -> None:
    """No two kinds share a group of entry points or a word in messages."""
    assert len({kind.group for kind in KINDS.values()}) == len(KINDS)
    assert len({kind.word for kind in KINDS.values()}) == len(KINDS)
    assert all(kind.group.startswith("busbox.") for kind in KINDS.values())


def test_a_built_in_name_reads_no_entry_points(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bench of built-in things runs without a look at what is installed."""

    def refuse(group: str) -> list[importlib.metadata.EntryPoint]:
        assert not group.startswith("busbox.")  # pydantic has a group of its own
        return []

    monkeypatch.setattr(importlib.metadata, "entry_points", refuse)
    assert load_bench("first_light").run("python").ended == "done"
    for kind in KINDS.values():
        for name in kind.built_in:
            find(kind, name)


def test_an_engine_from_outside_runs_and_shows(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """``--engine`` takes it, the help of ``--engine`` names it; it runs what ours run."""
    target = "busbox.engines.reference:ReferenceEngine"
    offered(monkeypatch, ENGINES, lever_frame=target)
    bench = load_bench("first_light")
    ours, theirs = bench.run("reference", 500), bench.run("lever_frame", 500)
    assert first_difference(ours, theirs) is None
    say(capsys, "run", "first_light", "--engine", "lever_frame", "--until", "200")
    assert "llvm, python, reference, lever_frame." in " ".join(say(capsys, "run", "-h").split())


@pytest.mark.parametrize(
    ("kind", "found", "told"),
    [
        (DEVICES, 3, "'x' must be a class, not 3"),
        (ATTACHMENTS, int, "'x' must be a subclass of Decoder or Driver"),
        (FORMATS, int, "'x' must be a Format (busbox.formats.contract), not an instance of type"),
        (SOURCES, 3, "'x' must be a class, not 3"),
        (SOURCES, int, "(busbox.cpu.source_kind): it lacks check, next, again, close, settings"),
        (RULES, 3, "x must be a function that yields sightings, not 3"),
        (RULES, lambda facts: (), "plug-in 'x' must be named like its rule, '<lambda>'"),
        (EXPORTS, 3, "'x' must be a function write(result, target), not 3"),
        (EXPORTS, lambda result: None, "write(result, target); it takes other arguments"),
        (BUSES, int, "'x' must be a subclass of Design (busbox.bus.design)"),
        (ENGINES, 3, "'x' must be a class of engines, not 3"),
        (VERBS, print, "'x' must be a click command"),
    ],
)
def test_what_lacks_a_part_of_its_contract_is_told(kind: Kind, found: object, told: str) -> None:
    """Each kind says what it wants and what it got."""
    with pytest.raises(InputError) as error:
        checked(kind, "x", found)
    assert told in str(error.value)


def test_a_plug_in_that_raises_or_leaves_while_it_loads_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What a module raises is told with the plug-in's name, and stops nothing else."""
    monkeypatch.syspath_prepend(tmp_path)
    for name, line in (("slack", "1 / 0"), ("leaving", "import sys; sys.exit(3)")):
        (tmp_path / f"{name}_points.py").write_text(f"{line}\n", encoding="utf-8")
        offered(monkeypatch, EXPORTS, **{name: f"{name}_points:write"})
        with pytest.raises(InputError, match=f"plug-in '{name}' does not load: "):
            find(EXPORTS, name)
        assert callable(find(EXPORTS, "json"))


def test_a_library_that_is_not_installed_is_told_and_a_fault_of_ours_is_not_hidden() -> None:
    """A built-in thing names the library that it needs; a module of ours that is gone is an error."""
    kind = Kind("lamp", "busbox.lamps", {"oil": "no_such_oil:Lamp", "gas": "busbox.gas:Lamp"}, "")
    with pytest.raises(InputError) as error:
        find(kind, "oil")
    assert str(error.value) == "lamp oil needs no_such_oil, which is not installed"
    with pytest.raises(ModuleNotFoundError):
        find(kind, "gas")


def test_the_built_in_verbs_are_those_of_the_help() -> None:
    """The registry and the groups of the help name the same verbs, in one order each."""
    from busbox.cli import GROUPS

    assert {name for group in GROUPS.values() for name in group} == set(VERBS.built_in)


FILES = {
    "bench.toml": (
        'clock = "1 MHz"\n[slot.bell]\nmodel = "tower.py:Bell"\nbase = 0x1000\nsize = 4\n'
        '[traffic]\nsource = "tower.py:Peal"\ncount = 2\n'
        '[attach.ear]\nkind = "tower.py:Ear"\npin = "bell.hammer"\n'
    ),
    "day.notes": "1000 1e\n1000 2\n",
    "tower.py": '''\
import click

from busbox.basics.errors import InputError
from busbox.board.attachment import LineReport, Decoder
from busbox.cpu import ListedSource
from busbox.cpu.source_kind import SourceKind
from busbox.cpu.steps import AccessStep
from busbox.device import Pin, Register, RegisterModel, RegisterTable, Setting
from busbox.formats.contract import Format


class Bell(RegisterModel):
    """A bell whose hammer follows a bit."""

    table = RegisterTable(Register("STRIKE", 0, width=8))
    pins = (Pin("hammer"),)

    def write_STRIKE(self, write):
        self.host.edge("hammer", write.shows, write.value & 1, write.number)


class Ear(Decoder):
    """Counts edges."""

    def decode(self, wave):
        return LineReport(facts={"edges": len(wave.times) - 1})


class Peal(SourceKind, ListedSource):
    """Strikes."""

    settings = (Setting("count", 1, low=1, high=9),)

    def __init__(self, count):
        if count == 9:
            raise ValueError("must not be nine strokes")
        super().__init__(lambda: [AccessStep(True, 0x1000, 1 - n % 2) for n in range(count)])


def read(lines, name):
    for number, line in enumerate(lines, start=1):
        try:
            address, data = (int(word, 16) for word in line.split())
        except ValueError:
            raise InputError.of("must be an address and a word", name, number) from None
        yield AccessStep(True, address, data, line=number)


NOTES = Format.of_lines("Address and word, a line each.", read)
LOG = Format.of_lines("The words written.", write=lambda steps: (f"{one.data:x}" for one in steps))
ODD = Format.of_lines("No steps.", lambda lines, name: iter([3]))
RAISING = Format.of_lines("Raises.", lambda lines, name: {}["step"])


def page(result, target):
    """The texts, raw."""
    target.binary.write(b"\\x00" + str(len(result.system.devices)).encode())


def broken(result, target):
    target.text.write("half")
    raise KeyError("lever")


@click.command()
@click.argument("word")
def ring(word):
    """Rings."""
    click.echo(word * 2)
    return 1
''',
}


@pytest.fixture
def tower(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a bench and a file of things of every kind that can stand in a file."""
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_file_holds_a_device_a_source_an_attachment_an_export_and_a_verb(
    tower: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each is named as ``file.py:Name``, in the bench or on the command line."""
    import json

    found = json.loads(say(capsys, "run", "bench.toml", "--json", "--write", "tower.py:page=a.bin"))
    assert found["attached"]["ear"]["edges"] == 2
    assert (tower / "a.bin").read_bytes() == b"\x001"
    assert say(capsys, "tower.py:ring", "ding", code=1) == "dingding\n"


def test_a_file_holds_a_format(tower: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``format`` names it, whatever the file's suffix is; its lines stand in findings."""
    bench = FILES["bench.toml"].replace(
        'source = "tower.py:Peal"\ncount = 2', 'file = "day.notes"\nformat = "tower.py:NOTES"'
    )
    (tower / "bench.toml").write_text(bench.replace("0x1000", "0x2000"), encoding="utf-8")
    page = say(capsys, "run", "bench.toml")
    assert "access 0, day.notes:1" in page
    (tower / "day.notes").write_text("1000 1e\n1000\n", encoding="utf-8")
    told = say(capsys, "run", "bench.toml", code=2)
    assert told == "busbox: day.notes:2: must be an address and a word\n"


def test_a_file_of_formats_reads_and_writes(
    tower: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """``busbox convert`` takes them by ``--from`` and ``--to``, whatever the suffixes are."""
    words = ("--from", "tower.py:NOTES", "--to", "tower.py:LOG")
    assert say(capsys, "convert", "day.notes", "words.txt", *words) == "words.txt: 2 steps\n"
    assert (tower / "words.txt").read_text(encoding="utf-8") == "1e\n2\n"


SPOILED = (
    ("", "", ("list", "format"), "list: there is no list of 'format'; did you mean 'formats'? (known: "
     "benches, devices, attachments, formats, sources, rules, exports, buses, engines or verbs)"),
    ("", "", ("convert", "day.notes", "a.steps", "--from", "notes"),
     "--from: there is no traffic format 'notes'; did you mean 'steps'? (known: steps, csv, vcd or "
     "file.py:Format)"),
    ("", "", ("convert", "a.recording.npz", "a.steps", "--from", "csv"),
     "--from: must not be given for a recording, 'a.recording.npz'"),
    ("", "", ("convert", "day.notes", "a.steps", "--from", "tower.py:LOG"),
     "day.notes: has a format that can be written but not read"),
    ("", "", ("convert", "day.notes", "a.notes", "--from", "tower.py:NOTES", "--to",
     "tower.py:NOTES"), "a.notes: has a format that can be read but not written"),
    ('source = "tower.py:Peal"\ncount = 2', 'file = "day.notes"\nformat = "tower.py:LOG"',
     ("run", "bench.toml"),
     "bench.toml:8: traffic.format: must be a format that is read; tower.py:LOG is only written"),
    ("[traffic]", "[traffic]\nfile=1\n", ("run", "bench.toml"),
     "bench.toml:7: traffic.file: unknown key 'file' (known: source or count)"),
    ("tower.py:Peal", "tower.py:Pea", ("run", "bench.toml"),
     "bench.toml:7: traffic.source: there is no class 'Pea' in tower.py; did you mean 'Peal'?"),
    ('"tower.py:Peal"', "3", ("run", "bench.toml"),
     "bench.toml:7: traffic.source: must be a string such as 'NAME', not 3"),
    ("tower.py:Peal", "peal", ("run", "bench.toml"),
     "bench.toml:7: traffic.source: there is no source of traffic 'peal' (known: file.py:Class)"),
    ("count = 2", "count = 10", ("run", "bench.toml"),
     "bench.toml:8: traffic.count: must be a whole number from 1 to 9, not 10"),
    ("count = 2", "count = 9", ("run", "bench.toml"),
     "bench.toml:6: traffic: must not be nine strokes"),
    ('source = "tower.py:Peal"\ncount = 2', 'file = "day.notes"\nformat = "notes"',
     ("run", "bench.toml"),
     "bench.toml:8: traffic.format: there is no traffic format 'notes'; did you mean 'steps'? "
     "(known: steps, csv, vcd or file.py:Format)"),
    ('source = "tower.py:Peal"\ncount = 2', 'file = "day.notes"\nformat = "tower.py:ODD"',
     ("run", "bench.toml"), "day.notes: its format must yield steps, not 3"),
    ('source = "tower.py:Peal"\ncount = 2', 'file = "day.notes"\nformat = "tower.py:RAISING"',
     ("run", "bench.toml"), "day.notes: its format raised KeyError: 'step'"),
    ("", "", ("run", "bench.toml", "--write", "jsn=a.json"),
     "--write: there is no export 'jsn'; did you mean 'json'? (known: summary, brief, json, vcd, "
     "coverage or file.py:Function)"),
    ("", "", ("run", "bench.toml", "--write", "json"),
     "--write: must be NAME=FILE such as json=run.json, not 'json'"),
    ("", "", ("run", "bench.toml", "--write", "json=no/a.json"), "--write: there is no folder 'no'"),
    ("", "", ("run", "bench.toml", "--write", "json=a", "--write", "summary=./a"),
     "--write: must be a different file from './a', which another option already writes"),
    ("", "", ("run", "bench.toml", "--write", "tower.py:broken=a.txt"),
     "--write: export tower.py:broken raised KeyError: 'lever'"),
    ("", "", ("tower.py:rin",),
     "there is no command 'rin' in tower.py"),
    ("", "", ("tower.py:page",), "'tower.py:page' must be a click command, not an instance of "
     "function"),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words", "told"), SPOILED, ids=[one[3] for one in SPOILED])
def test_it_is_told_and_nothing_is_left(
    old: str,
    new: str,
    words: tuple[str, ...],
    told: str,
    tower: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: one line, exit code 2, and no file beside those that were there.

    An export that fails does not keep the summary of the run from standard output.
    """
    bench = FILES["bench.toml"].replace(old, new, 1)
    (tower / "bench.toml").write_text(bench, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(list(words))
    assert ended.value.code == 2
    seen = capsys.readouterr()
    assert re.sub(r" \(tower\.py:\d+, in [\w.<>]+\)", "", seen.err) == f"busbox: {told}\n"
    assert bool(seen.out) == ("raised KeyError" in told and told.startswith("--write"))
    assert {one.name for one in tower.iterdir()} == set(FILES)
