"""A disk that is full or read-only, in each verb that writes: one sentence, nothing half-written.

The faults are put into what opens files below a folder, so that they come in the same place on every
machine, whoever runs the tests.
"""

from __future__ import annotations

import builtins
import errno
import io
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.cli import main
from busbox.variants.keeping import Keeping

pytestmark = pytest.mark.skipif(os.name != "posix", reason="folders and locks are those of POSIX")

RUN = ["first_light", "--engine", "python", "--until", "30 us"]
STEPS = "write 0x40000000 1\nread 0x40000000\n"
#: Each verb that writes: its arguments, and how many bytes it writes at least.
WRITERS: dict[str, tuple[list[str], int]] = {
    "vcd": (["run", *RUN, "--vcd", "out/run.vcd"], 100),
    "out": (["run", *RUN, "--out", "out/run"], 100),
    "export": (["run", *RUN, "--write", "json=out/run.json"], 100),
    "convert": (["convert", "day.steps", "out/day.csv"], 50),
    "convert gz": (["convert", "day.steps", "out/day.steps.gz"], 30),
    "record": (["record", *RUN, "-o", "out/run.csv"], 100),
    "sweep": (
        ["sweep", *RUN, "--vary", "clock=16 MHz,8 MHz", "--jobs", "1", "-o", "out/t.csv"],
        20,
    ),
    "report": (["report", "first_light", "-o", "out/run.html"], 1000),
    "draw": (["draw", "first_light", "-o", "out/map.svg", "map"], 100),
    "registers": (["registers", "first_light", "-o", "out/map.h"], 100),
    "new": (["new", "bench", "out/bench"], 100),
    "lesson page": (["lesson", "--page", "out/lessons.html"], 1000),
    "lesson sheets": (["lesson", "1", "--sheets", "out/sheets", "--seeds", "1..2"], 1000),
    "guide": (["guide", "--html", "out/guide.html"], 1000),
}


class Full(io.FileIO):
    """A file on a disk that is full after so many bytes."""

    left = 0

    def write(self, data: Any) -> int:
        """Write what there is room for."""
        if not self.left:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        done = super().write(memoryview(data)[: self.left])
        self.left -= done
        return done


def spoil(monkeypatch: pytest.MonkeyPatch, below: Path, room: int | None) -> None:
    """Let files below a folder be written up to so many bytes; None: the folder is read-only."""
    real_open, real_mkdir = io.open, os.mkdir

    def inside(name: object) -> bool:
        return isinstance(name, str | os.PathLike) and below in Path(os.path.abspath(name)).parents

    def opening(file: Any, mode: str = "r", *more: Any, **keys: Any) -> Any:
        if not inside(file) or not set(mode) & set("wax+"):
            return real_open(file, mode, *more, **keys)
        if room is None:
            raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(file))
        buffered = 0 not in more[:1]
        assert "b" in mode, "text files are written as bytes"
        raw = Full(file, mode.replace("b", ""))
        raw.left = room
        if not buffered:
            return raw
        return io.BufferedRandom(raw) if "+" in mode else io.BufferedWriter(raw)

    def making(path: Any, *more: Any, **keys: Any) -> None:
        if room is None and inside(path):
            raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(path))
        real_mkdir(path, *more, **keys)

    monkeypatch.setattr(io, "open", opening)
    monkeypatch.setattr(builtins, "open", opening)
    monkeypatch.setattr(os, "mkdir", making)


PAGE = pytest.param("lesson page", marks=pytest.mark.long)  # its answers are worked out for 20 s


@pytest.mark.parametrize("writer", [*(one for one in WRITERS if one != "lesson page"), PAGE])
@pytest.mark.parametrize("room", [None, 0, "half"], ids=["read-only", "full", "nearly full"])
def test_a_disk_that_takes_no_more_is_told(
    room: int | str | None,
    writer: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """One sentence that names the file, exit code 2, and no file, whole or in part, is left."""
    monkeypatch.chdir(tmp_path)
    Path("day.steps").write_text(STEPS, encoding="utf-8")
    Path("out").mkdir()
    given, least = WRITERS[writer]
    spoil(monkeypatch, tmp_path / "out", least // 2 if room == "half" else room)  # type: ignore[arg-type]
    with pytest.raises(SystemExit) as ended:
        main(given)
    monkeypatch.undo()
    told = capsys.readouterr().err.splitlines()
    why = "Read-only file system" if room is None else "No space left on device"
    assert (ended.value.code, len(told)) == (2, 1), told
    assert told[0].startswith("busbox: ")
    assert "out" in told[0]
    assert why in told[0]
    assert not [one for one in (tmp_path / "out").rglob("*") if one.is_file()]


@pytest.mark.parametrize("room", [0, 100])
def test_the_file_that_was_there_stays(
    room: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the disk is full, what an earlier run has written is left as it is."""
    monkeypatch.chdir(tmp_path)
    Path("out").mkdir()
    Path("out/run.vcd").write_bytes(b"whole")
    spoil(monkeypatch, tmp_path / "out", room)
    with pytest.raises(SystemExit):
        main(["run", *RUN, "--vcd", "out/run.vcd"])
    monkeypatch.undo()
    assert capsys.readouterr().err.count("\n") == 1
    assert {one.name: one.read_bytes() for one in (tmp_path / "out").iterdir()} == {
        "run.vcd": b"whole"
    }


def test_a_sweep_on_a_disk_that_fills_keeps_its_rows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The variants that are finished are kept, and the next sweep goes on from them."""
    monkeypatch.chdir(tmp_path)
    Path("out").mkdir()
    given = ["sweep", *RUN, "--vary", "clock=16 MHz,8 MHz", "--jobs", "1", "-o", "out/t.csv"]
    opened: list[int] = []

    class Counted(Full):
        """A disk that has no room left behind the second line."""

        def write(self, data: Any) -> int:
            opened.append(1)
            self.left = 1 << 20 if len(opened) < 3 else 0
            return super().write(data)

    monkeypatch.setattr(f"{__name__}.Full", Counted)
    spoil(monkeypatch, tmp_path / "out", 1)
    with pytest.raises(SystemExit) as ended:
        main(given)
    monkeypatch.undo()
    monkeypatch.chdir(tmp_path)
    assert ended.value.code == 2
    told = capsys.readouterr().err
    assert told.endswith("out/t.csv.unfinished: cannot be written: No space left on device\n")
    assert len(Path("out/t.csv.unfinished").read_bytes().splitlines()) == 2
    with pytest.raises(SystemExit) as ended:
        main(given)
    assert not ended.value.code
    assert [one.name for one in Path("out").iterdir()] == ["t.csv"]


def test_two_sweeps_do_not_share_a_file(tmp_path: Path) -> None:
    """The second one is refused while the first goes on, and may go on from it afterwards."""
    first = Keeping(tmp_path / "t.csv", "one")
    first.add(0, {"cycles": 1})
    with pytest.raises(InputError, match="is written by another sweep that goes on"):
        Keeping(tmp_path / "t.csv", "one")
    first.close()
    second = Keeping(tmp_path / "t.csv", "one")
    assert second.rows == {0: {"cycles": 1}}
    second.close()


def test_two_runs_that_write_one_file_leave_it_whole(tmp_path: Path) -> None:
    """Of runs that write it at the same time, the last one's whole file stays, and nothing beside."""
    command = [sys.executable, "-m", "busbox", "run", *RUN, "--vcd", "run.vcd"]
    alone = subprocess.run(command, cwd=tmp_path, capture_output=True, check=False)
    assert alone.returncode == 0, alone.stderr
    whole = (tmp_path / "run.vcd").read_bytes()
    runs = [
        subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        for _ in range(3)
    ]
    for run in runs:
        told = run.communicate(timeout=60)[1]
        assert run.returncode == 0, told
    assert (tmp_path / "run.vcd").read_bytes() == whole
    assert [one.name for one in tmp_path.iterdir()] == ["run.vcd"]
