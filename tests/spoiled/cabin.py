"""A signal cabin that works, and what the tests of this folder spoil in it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from busbox.basics.errors import join_or
from busbox.bench.find import packaged_benches
from busbox.bench.schema import BenchTable
from busbox.cli import main
from busbox.engines import ENGINES
from busbox.formats.text import FIRST_WORDS
from busbox.plugins import VERBS

#: Every key that a bench can have, each on a line of its own (numbered from 1).
BENCH = """\
clock = "16 MHz"
settle = "1 ms"
hang_after = 1000
after_reset = "restart"

[fabric]
unanswered = "error"
watchdog = 64
registered_decode = false

[slot.levers]
model = "gpio"
base = 0x4000_0000
size = 0x1000
width = 8

[slot.telegraph]
model = "uart"
base = 0x4000_1000
size = 0x1000
divisor = 16
wait = 1
yields_to = []

[slot.lamps]
model = "pulse_led"
base = 0x4400_0000
size = 0x1000
compare = "31..12"
lamps = 8
channels = 3
order = "GRB"
count = 8
high = 0x000d_0007
period = 0x03c0_0014

[slot.book]
model = "memory"
base = 0x2000_0000
size = 0x100
decode = "range"
kind = "ram"

[traffic]
file = "day.steps"

[[input]]
at = "2 us"
pin = "levers.in.4"
level = 1

[[reset]]
at = 2000
length = 4
"""
TRAFFIC = "write levers.OUT 1\nread telegraph.STATUS\n"
#: A model that works, for the tests that spoil it.
BELL = '''\
"""A bell."""

from busbox.device import Pin
from busbox.device import RegisterModel
from busbox.map.registers import Register, RegisterTable


class Bell(RegisterModel):
    """Strikes."""

    table = RegisterTable(Register("STRIKE", 0x00))
    pins = (Pin("hammer"),)
'''

#: Name to contents; None makes a folder.
Files = Mapping[str, str | bytes | None]


@dataclass(frozen=True)
class Spoiled:
    """One bad input.

    Attributes
    ----------
    says : what must hold, in one sentence
    told : all that stands on stderr
    edits : (old, new) texts of the bench, each old one found once
    files : further files, or others in the place of ``bench.toml`` and ``day.steps``
    args : the words of the command line
    """

    says: str
    told: str
    edits: tuple[tuple[str, str], ...] = ()
    files: Files = field(default_factory=dict)
    args: tuple[str, ...] = ("run", "bench.toml")

    def lay_out(self, folder: Path) -> None:
        """Write the files."""
        bench = BENCH
        for old, new in self.edits:
            assert bench.count(old) == 1, f"{old!r} stands {bench.count(old)} times in the bench"
            bench = bench.replace(old, new)
        for name, contents in {"bench.toml": bench, "day.steps": TRAFFIC, **self.files}.items():
            if contents is None:
                (folder / name).mkdir()
                continue
            data = contents.encode("utf-8") if isinstance(contents, str) else contents
            (folder / name).write_bytes(data)


def contents_of(folder: Path) -> dict[str, bytes | None]:
    """Return everything in a folder: name to contents, None for a folder."""
    return {
        path.relative_to(folder).as_posix(): None if path.is_dir() else path.read_bytes()
        for path in folder.rglob("*")
    }


def said_by(
    args: tuple[str, ...], capsys: pytest.CaptureFixture[str], folder: Path
) -> tuple[object, str, str]:
    """Run ``busbox ARGS``; return exit code, stdout and stderr.

    ``TMP`` stands for the folder, and a word in capitals for a list that grows with Busbox.
    """
    with pytest.raises(SystemExit) as ended:
        main([word.replace("TMP", str(folder)) for word in args])
    seen = capsys.readouterr()
    return ended.value.code, seen.out, without_lists(seen.err.replace(str(folder), "TMP"))


def without_lists(text: str) -> str:
    """Return a text with words in the place of lists that have nothing to do with the mistake."""
    text = text.replace(f"a file, {join_or(packaged_benches())}", "a file, BENCHES")
    text = text.replace(f"known: {join_or(BenchTable.keys())}", "known: KEYS")
    text = text.replace(f"must begin with {join_or(FIRST_WORDS)}", "must begin with A VERB")
    text = text.replace(f"known: {join_or(ENGINES)}", "known: ENGINES")
    text = text.replace(f"known: {join_or([*VERBS.built_in, 'file.py:Command'])}", "known: VERBS")
    text = re.sub(r"it lacks [\w, ]+ \(", "it lacks MEMBERS (", text)
    return re.sub(r"known: --.* or --help", "known: OPTIONS", text)


#: Where the hook is that a message is about, after the sentence of the row.
PLACE = re.compile(r" \((\w+\.py):(\d+), in [\w.<>]+\)")


def assert_told(
    spoiled: Spoiled,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    judged: bool = False,
) -> None:
    """Assert that a bad input is told as it should be, and leaves nothing behind.

    Parameters
    ----------
    judged : it is found when the run is over, whose summary is shown
    """
    spoiled.lay_out(folder)
    before = contents_of(folder)
    monkeypatch.chdir(folder)
    code, out, err = said_by(spoiled.args, capsys, folder)
    for file, line in PLACE.findall(err):
        assert 1 <= int(line) <= spoiled.files[file].count("\n"), err
    assert PLACE.sub("", err) == spoiled.told
    if judged:
        assert "Judged without a part that failed: attach." in out
        assert out.rstrip().endswith("Expectations: none")
    else:
        assert out == ""
    assert code == 2
    assert contents_of(folder) == before
