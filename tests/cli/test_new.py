"""``busbox new``."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest
from jsonschema import Draft7Validator

from tests.cli.saying import say
from tests.cpu.host_libraries import COMPILER, needs_compiler
from tests.spoiled.cabin import Spoiled, assert_told, contents_of

pytestmark = pytest.mark.quick

FILES = ["bench.schema.json", "bench.toml", "crossing.steps", "gate.py"]


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_a_new_bench_runs_at_once_without_a_finding(capsys: pytest.CaptureFixture[str]) -> None:
    """As printed; all that must hold does, and the gate was down and up again."""
    told = say(capsys, "new", "bench", "my crossing")
    assert told == (
        "my crossing: bench.schema.json, bench.toml, crossing.steps, gate.py\n"
        "busbox run 'my crossing' runs it.\n"
    )
    found = json.loads(say(capsys, "run", "my crossing", "--strict", "--json", "--coverage"))
    assert found["findings"] == []
    assert [one["met"] for one in found["expectations"]] == [True, True]
    assert found["coverage"]["gate"]["untouched"] == []
    status = found["coverage"]["gate"]["registers"]["STATUS"]["fields"]
    assert all(seen["read_one"] and seen["read_zero"] for seen in status.values())


def test_its_model_has_two_registers_and_a_comment_stands_at_everything(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The model reads as a model; bench and traffic explain themselves."""
    say(capsys, "new", "bench", "crossing")
    shown = json.loads(say(capsys, "models", "crossing/gate.py:Gate", "--json"))
    assert [one["name"] for one in shown["registers"]] == ["COMMAND", "STATUS"]
    assert shown["timing"]
    for name in ("bench.toml", "crossing.steps"):
        assert Path("crossing", name).read_text(encoding="utf-8").count("#") > 4


@needs_compiler
def test_a_new_driver_in_c_is_compiled_and_runs_at_once(
    capfd: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """As printed; make warns of nothing, all that must hold does, and a byte has its lane and line."""
    told = say(capfd, "new", "host_driver", "my cabin")
    assert told == (
        "my cabin: Makefile, bench.schema.json, bench.toml, busbox.c, busbox.h, driver.c\n"
        "make -C 'my cabin' compiles the driver. busbox run 'my cabin' runs it.\n"
    )
    assert say(capfd, "run", "my cabin", code=2).endswith(
        "there is no file 'driver.so'; a Makefile in that folder may compile it\n"
    )
    if shutil.which("make") is None:
        pytest.skip("there is no make")
    made = subprocess.run(
        ["make", "-C", "my cabin"], check=True, capture_output=True, stdin=subprocess.DEVNULL
    )
    assert made.stderr == b""
    found = json.loads(say(capfd, "run", "my cabin", "--strict", "--json"))
    assert [one["met"] for one in found["expectations"]] == [True, True]
    told = " ".join(say(capfd, "why", "my cabin", "levers.out.8@1ms").split())
    assert "write of 0x100, lanes 0010, to levers.OUT" in told
    assert "main, driver.c:36: PUT_BYTE(LEVERS_OUT + 1, 0x1);" in told
    bench = tomllib.loads(Path("my cabin/bench.toml").read_text(encoding="utf-8"))
    schema = json.loads(Path("my cabin/bench.schema.json").read_text(encoding="utf-8"))
    assert list(Draft7Validator(schema).iter_errors(bench)) == []


def test_the_driver_also_compiles_for_its_board(tmp_path: Path) -> None:
    """Without ON_BUSBOX, driver.c needs nothing of Busbox: any compiler for a core will do."""
    text = (
        files("busbox").joinpath("cli", "templates", "host_driver", "driver.c").read_text("utf-8")
    )
    ours = text.partition("#ifdef ON_BUSBOX")[2].partition("#else")[0]
    assert "busbox" in ours
    assert "busbox.h" not in text.replace(ours, "")
    if COMPILER is None:
        pytest.skip("there is no C compiler, cc or gcc")
    (tmp_path / "driver.c").write_text(text, encoding="utf-8")
    words = [COMPILER, "-std=c11", "-Wall", "-Werror", "-Wno-int-to-pointer-cast", "-c", "driver.c"]
    subprocess.run(words, cwd=tmp_path, check=True, stdin=subprocess.DEVNULL)


@pytest.mark.parametrize("at", ["e", "e + travel", "e + travel + 1"])
def test_its_timing_holds(at: str, capsys: pytest.CaptureFixture[str]) -> None:
    """MOVING is 1 from e + 1 to e + travel; the bell moves in e + 1; DOWN comes after."""
    say(capsys, "new", "bench", "crossing")
    Path("crossing/crossing.steps").write_text("write gate.COMMAND 1\n", encoding="utf-8")
    row = {"e": 2, "e + travel": 402, "e + travel + 1": 403}[at]
    words = ("--set", "expect=[]", "--set", "input=[]", "--json")
    found = json.loads(say(capsys, "state", "crossing", "gate", "--at", str(row), *words))
    gate = found["slots"]["gate"]
    assert (
        gate["registers"]["STATUS"]["fields"]
        == {
            "e": {"DOWN": 0, "MOVING": 0},
            "e + travel": {"DOWN": 0, "MOVING": 1},
            "e + travel + 1": {"DOWN": 1, "MOVING": 0},
        }[at]
    )
    assert gate["pins"]["bell"] == int(row > 2)


@pytest.mark.parametrize("folder", ["there", ".", "not_there"])
def test_a_folder_that_is_empty_or_new_gets_the_files_and_nothing_else(
    folder: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """An empty folder stays the same folder, even if it is the present one."""
    place = tmp_path / folder
    if folder == "there":
        place.mkdir()
    before = place.stat().st_ino if place.exists() else None
    say(capsys, "new", "bench", folder)
    assert sorted(contents_of(place)) == FILES
    assert before in (None, place.stat().st_ino)
    assert sorted(path.name for path in tmp_path.iterdir()) in (FILES, [folder])


@pytest.mark.parametrize("there", [True, False])
def test_a_disk_that_is_full_leaves_nothing(
    there: bool,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """The second file cannot be written, or moved: neither the first nor the folder is left."""
    if there:
        Path("crossing").mkdir()
    before = contents_of(tmp_path)
    writing, moving, written = Path.write_bytes, os.replace, []

    def write(path: Path, data: bytes) -> int:
        written.append(path)
        if len(written) == 2 and not there:
            raise OSError(28, "No space left on device")
        return writing(path, data)

    def move(source: Path, target: Path) -> None:
        if target.name == "bench.toml":
            raise OSError(28, "No space left on device")
        moving(source, target)

    monkeypatch.setattr(Path, "write_bytes", write)
    monkeypatch.setattr(os, "replace", move)
    assert say(capsys, "new", "bench", "crossing", code=2) == (
        "busbox: crossing: cannot be written: No space left on device\n"
    )
    assert contents_of(tmp_path) == before


CASES = (
    Spoiled(
        "There must be such a thing to write.",
        "busbox: new: unknown kind 'bnch'; did you mean 'bench'? (known: bench, host_driver, "
        "lessons, notebook or device)\n",
        args=("new", "bnch", "crossing"),
    ),
    Spoiled(
        "The folder must be empty.",
        "busbox: yard: must be an empty folder; it contains files\n",
        files={"yard": None, "yard/.hidden": ""},
        args=("new", "bench", "yard"),
    ),
    Spoiled(
        "The folder must be no file.",
        "busbox: day.steps: must be a folder, not a file\n",
        args=("new", "bench", "day.steps"),
    ),
    Spoiled(
        "The folder above must exist.",
        "busbox: nowhere/crossing: there is no folder 'nowhere' to put it in\n",
        args=("new", "bench", "nowhere/crossing"),
    ),
    Spoiled(
        "The name must be one that a folder can have.",
        "busbox: " + "x" * 300 + ": cannot be used: File name too long\n",
        args=("new", "bench", "x" * 300),
    ),
    Spoiled(
        "The folder must be named.",
        "busbox: new: DIR must be given\n",
        args=("new", "bench"),
    ),
    Spoiled(
        "What is to be written must be named.",
        "busbox: new: KIND must be given\n",
        args=("new",),
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)


def test_an_editor_finds_the_schema_of_a_new_bench(capsys: pytest.CaptureFixture[str]) -> None:
    """The first line of the bench names the schema beside it, which `busbox schema` prints."""
    say(capsys, "new", "bench", "crossing")
    bench = Path("crossing/bench.toml").read_text(encoding="utf-8")
    assert bench.startswith("#:schema bench.schema.json\n")
    schema = Path("crossing/bench.schema.json").read_text(encoding="utf-8")
    assert schema == say(capsys, "schema")
    assert list(Draft7Validator(json.loads(schema)).iter_errors(tomllib.loads(bench))) == []
