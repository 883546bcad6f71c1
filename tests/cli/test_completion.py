"""Completion: what each shell offers, by its own script where the shell is installed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from busbox import load_bench
from busbox.bench.find import packaged_benches
from busbox.cli.completing import RECORDING, SHELLS
from busbox.cli.shells import class_of
from busbox.plugins import EXPORTS, KINDS, RULES, VERBS
from busbox.recording import SUFFIX
from tests.cli.saying import say

Offered = Callable[..., list[str]]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Work in a folder with a bench and a command ``busbox``, which is that of the tests."""
    shutil.copytree(packaged_benches()["first_light"].parent, tmp_path / "cabin")
    (tmp_path / "notes").mkdir()
    (tmp_path / "cabin.h").write_text("#define LEVERS 0x40000000\n", encoding="utf-8")
    command = tmp_path / "bin" / "busbox"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m busbox "$@"\n', encoding="utf-8")
    command.chmod(0o755)
    monkeypatch.setenv("PATH", f"{command.parent}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(path for path in sys.path if path))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def answered(shell: str, words: str, count: int) -> str:
    """Return what busbox answers a shell for the word number ``count``; it never complains."""
    asked = {"_BUSBOX_COMPLETE": f"{shell}_complete", "COMP_WORDS": words, "COMP_CWORD": str(count)}
    done = subprocess.run(
        [sys.executable, "-m", "busbox"],
        env={**os.environ, **asked},
        capture_output=True, text=True, encoding="utf-8", check=True,
    )  # fmt: skip
    assert done.stderr == ""
    return done.stdout


@pytest.fixture
def offered(home: Path) -> Offered:
    """Return what gives the words that are offered for the last word of a line."""

    def words(*line: str) -> list[str]:
        text = answered("bash", "\n".join(("busbox", *line)), len(line))
        return [row.partition(",")[2] for row in text.splitlines() if row]

    return words


def test_verbs_and_options_are_offered(offered: Offered) -> None:
    """Verbs by their first letters, options of a verb after a dash."""
    assert offered("w") == ["why", "where"]
    assert set(VERBS.built_in) <= set(offered(""))
    assert offered("why", "--") == [
        "--traffic", "--set", "--variant", "--move-traffic", "--json", "--help",
    ]  # fmt: skip


def test_benches_are_those_that_ship_and_folders_with_one(offered: Offered) -> None:
    """A folder with a bench, folders to go into, benches that ship, sets where they can be run."""
    assert offered("run", "first") == ["first_light"]
    assert offered("run", "c") == ["cabin"]
    assert offered("run", "n") == ["night_watch", "notes/"]
    assert "mistakes" in offered("run", "")
    assert "mistakes" not in offered("map", "")
    assert "mistakes/hang" in offered("map", "mistakes/h")
    assert offered("map", "cabin/") == ["cabin/bench.toml"]


def test_recordings_are_offered_where_they_are_taken(offered: Offered, home: Path) -> None:
    """Why, state and twin complete slots and pins of a recording too."""
    load_bench("cabin").run("python").save(home / "kept.recording.npz")
    assert offered("why", "k") == ["kept.recording.npz"]
    assert offered("map", "k") == []
    assert offered("state", "kept.recording.npz", "l") == ["levers", "lamps"]
    assert "lamps.line@" in offered("why", "kept.recording.npz", "lamps.")
    assert RECORDING == SUFFIX


def test_slots_pins_registers_and_rules(offered: Offered) -> None:
    """What the bench earlier in the line has."""
    assert offered("state", "cabin", "l") == ["levers", "lamps"]
    assert offered("twin", "cabin", "t") == ["telegraph"]
    assert offered("why", "cabin", "lamps.l") == ["lamps.line@"]
    assert offered("why", "cabin", "f") == ["finding."]
    assert offered("run", "cabin", "--stop-on", "lamps.CON") == ["lamps.CONTROL"]
    assert offered("run", "cabin", "--stop-on", "byte") == ["byte-lost"]
    assert offered("where", "cabin", "0x440") == ["0x44000000"]
    assert offered("where", "cabin", "c") == ["cabin.h"]


def test_pictures_and_what_stands_after_their_names(offered: Offered, home: Path) -> None:
    """Names of pictures, of strings of lamps, addresses; tables and recordings where they are taken."""
    assert offered("draw", "cabin", "p") == ["pulse", "pins"]
    assert offered("draw", "cabin", "lamps", "") == ["string"]
    assert offered("draw", "cabin", "pulse", "3", "s") == ["string"]
    assert offered("draw", "cabin", "pulse", "") == []
    assert offered("draw", "cabin", "decode", "0x440") == ["0x44000000"]
    (home / "swept.csv").touch()
    assert offered("draw", "sw") == offered("report", "sw") == ["swept.csv"]
    assert offered("run", "sw") == []


def test_keys_of_set_and_values_that_have_names(offered: Offered) -> None:
    """A key goes on behind its =; bash has the words apart there and wants the last part alone."""
    assert offered("run", "cabin", "--set", "slot.lamps.b") == ["slot.lamps.base="]
    assert "slot.lamps.lamps=" in offered("run", "cabin", "--set", "slot.lamps.")
    assert "attach.string.count=" in offered("run", "cabin", "--set", "attach.")
    assert offered("run", "cabin", "--set", "slot.lamps.as", "=", "h") == ["hardware"]
    assert offered("run", "cabin", "--engine", "=", "py") == ["python"]
    assert offered("run", "cabin", "--engine", "ref") == ["reference"]


def test_names_of_the_registry(offered: Offered) -> None:
    """Models, attachments, rules, exports, formats, lists, profiles, shells."""
    assert offered("models", "u") == ["uart"]
    assert offered("attachments", "sw") == ["switch"]
    assert set(offered("explain", "")) >= set(RULES.built_in)
    assert offered("run", "cabin", "--write", "") == [f"{name}=" for name in EXPORTS.built_in]
    assert offered("convert", "--to", "c") == ["csv"]
    assert offered("list", "") == ["benches", *KINDS]
    assert offered("timing", "--profile", "P") == ["P1", "P2", "P3", "P4", "P5"]
    assert offered("completion", "p") == ["powershell"]
    assert offered("check", "g") == ["gpio"]


@pytest.mark.parametrize(
    "line",
    [
        ("nothing", ""),
        ("state", "nowhere", ""),
        ("why", "spoiled", "l"),
    ],
)
def test_errors_are_silent(line: tuple[str, ...], offered: Offered, home: Path) -> None:
    """An unknown verb, a bench that is not there or is spoiled: nothing is offered, nothing said."""
    (home / "spoiled").mkdir()
    (home / "spoiled" / "bench.toml").write_text("clock = ", encoding="utf-8")
    assert offered(*line) == []


def test_verbs_are_offered_without_large_libraries(home: Path) -> None:
    """A shell waits for it: no NumPy, no Amaranth, no pydantic."""
    probe = (
        "import sys, busbox.cli\n"
        "try:\n    busbox.cli.main([])\n"
        "except SystemExit:\n    pass\n"
        "heavy = {'amaranth', 'numpy', 'pydantic', 'rich', 'llvmlite'}\n"
        "print(sorted(heavy & sys.modules.keys()))\n"
    )
    asked = {"_BUSBOX_COMPLETE": "bash_complete", "COMP_WORDS": "busbox r", "COMP_CWORD": "1"}
    done = subprocess.run(
        [sys.executable, "-c", probe], env={**os.environ, **asked},
        capture_output=True, text=True, encoding="utf-8", check=True,
    )  # fmt: skip
    assert done.stdout == "plain,run\nplain,report\nplain,record\nplain,registers\n[]\n"


def test_no_verb_loads_amaranth_for_its_options(home: Path) -> None:
    """Nor pydantic: what a verb needs for its work is imported when it works."""
    probe = (
        "import sys\n"
        "from busbox.plugins import VERBS, find\n"
        "for name in VERBS.built_in:\n    find(VERBS, name)\n"
        "print(sorted({'amaranth', 'pydantic', 'rich', 'llvmlite'} & sys.modules.keys()))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, encoding="utf-8", check=True
    )
    assert done.stdout == "[]\n"


def run_by(shell: str, *words: str) -> str:
    """Run a shell that reads no file of its user; return what it prints."""
    if shutil.which(shell) is None:
        pytest.skip(f"{shell} is not installed")
    done = subprocess.run(
        [shell, *words], capture_output=True, text=True, encoding="utf-8", check=True, timeout=60
    )
    return done.stdout


def test_bash_completes_by_the_script(home: Path) -> None:
    """The function of the script fills COMPREPLY; keys are completed behind a =."""
    code = """
        source <(busbox completion bash)
        compopt() { asked="$1 $2"; }
        ask() { asked=; COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMPREPLY=()
                _busbox_completion busbox; echo "${COMPREPLY[*]} $asked"; }
        ask busbox ru
        ask busbox state cabin l
        ask busbox run cabin --set slot.lamps.b
        ask busbox run cabin --set slot.lamps.as = m
        ask busbox run cabin --vcd x
        complete -p busbox
    """
    assert run_by("bash", "--norc", "--noprofile", "-c", code).splitlines() == [
        "run ",
        "levers lamps ",
        "slot.lamps.base= -o nospace",
        "model ",
        " -o default",
        "complete -o nosort -F _busbox_completion busbox",
    ]


def test_fish_completes_by_the_script(home: Path) -> None:
    """Fish itself is asked what it offers."""
    for line, words in (
        ("busbox ru", ["run"]),
        ("busbox state cabin l", ["lamps", "levers"]),
        ("busbox run cabin --set slot.lamps.b", ["slot.lamps.base="]),
    ):
        code = f"busbox completion fish | source; complete -C '{line}'"
        found = run_by("fish", "--no-config", "-c", code).split("\n")
        assert sorted(row.partition("\t")[0] for row in found if row) == words


def test_zsh_completes_by_the_script(home: Path) -> None:
    """The function of the script calls compadd, without a space where the word goes on."""
    code = """
        compdef() { }
        compadd() { [[ -n ${(P)@[-1]} ]] && echo "$@[1,-2] ${(P)@[-1]}"; true }
        _describe() { echo "described $completions_with_descriptions"; }
        source <(busbox completion zsh)
        ask() { words=("$@"); CURRENT=$#; _busbox_completion; }
        ask busbox state cabin l
        ask busbox run cabin --set slot.lamps.b
        ask busbox wher
    """
    lines = run_by("zsh", "-f", "-c", code).splitlines()
    assert lines[:2] == [
        "-U -V unsorted -a levers lamps",
        "-U -S  -V unsorted -a slot.lamps.base=",
    ]
    assert lines[2].startswith("described where:")


def test_powershell_is_answered_in_three_lines_a_word(home: Path) -> None:
    """PowerShell's own part cannot be run here: type, word and help are those of its protocol."""
    assert answered("powershell", "busbox run first", 2) == "plain\nfirst_light\n_\n"
    kind, word, text = answered("powershell", "busbox wher", 1).splitlines()
    assert (kind, word) == ("plain", "where")
    assert text
    script = class_of("powershell").source_template
    assert "Register-ArgumentCompleter -Native -CommandName %(prog_name)s" in script


@pytest.mark.parametrize("shell", SHELLS)
def test_every_shell_has_a_script(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The script names the command and the variable that it asks by."""
    told = say(capsys, "completion", shell)
    assert "_BUSBOX_COMPLETE" in told
    assert "busbox" in told


def test_an_unknown_shell_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """With the nearest name and all that there are."""
    assert say(capsys, "completion", "fsh", code=2) == (
        "busbox: completion: there is no script for 'fsh'; did you mean 'fish'? (known: bash, zsh, "
        "fish or powershell)\n"
    )
