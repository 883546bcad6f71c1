"""Sweeps: their rows, whoever runs them, and what an interruption leaves."""

from __future__ import annotations

import csv
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import busbox
from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.variants.keeping import Keeping, write_table
from busbox.variants.measures import BUILT_IN
from busbox.variants.sweep import Sweep
from busbox.variants.working import on_executor, on_processes
from tests.variants.small import run, write_bench

VARY = {"slot.levers.wait": [0, 1, 2], "slot.lamps.wait": [1, 4]}


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """Return the small bench."""
    return write_bench(tmp_path)


def table(bench: Bench, **how: Any) -> Sweep:
    """Return the sweep of the small bench on the engine python."""
    return busbox.sweep(
        bench, how.pop("vary", VARY), how.pop("measure", None), engine="python", **how
    )


def test_each_row_is_the_run_of_its_variant(bench: Bench) -> None:
    """A row holds what a run of the bench with its values gives."""
    names = [one.name for one in BUILT_IN]
    found = table(bench, measure=[*names, "margin.string.P4", "kept.string.P4"], jobs=1)
    assert len(found.rows) == 6
    for row in found.rows:
        alone = run(bench, *(f"{key}={row[key]}" for key in VARY))
        assert row["cycles"] == alone.cycles
        assert row["duration"] == alone.cycles / 16_000_000
        assert row["accesses"] == len(alone.accesses)
        assert row["findings"] == sum(sum(of.values()) for of in alone.counts.values())
        facts = alone.seen["string"].facts["profiles"]["P4"]
        margins = [one["worst_margin_ns"] for one in facts["windows"].values() if one["count"]]
        assert row["margin.string.P4"] == min(margins)
        assert row["kept.string.P4"] == facts["passes"]
    assert [row["slot.lamps.wait"] for row in found.rows] == [1, 4] * 3


def test_columns_are_arrays(bench: Bench) -> None:
    """Numbers are arrays of numbers, a missing one is NaN; other columns hold objects."""
    found = table(bench, vary={"slot.levers.wait": [0, -1]}, measure=["cycles", "texts"], jobs=1)
    cycles = found.column("cycles")
    assert cycles.dtype == np.float64
    assert np.isnan(cycles[1])
    assert cycles[0] > 0
    assert found.column("texts").tolist() == ["equal", None]
    assert found.column("slot.levers.wait").dtype.kind == "i"
    assert found.failed == 1
    assert "slot.levers.wait: must be" in str(found.rows[1]["message"])
    with pytest.raises(KeyError, match="there is no column 'cycle'"):
        found.column("cycle")


def test_the_table_of_the_bench_is_used(bench: Bench) -> None:
    """Without values and measures, those of [sweep] are taken."""
    found = busbox.sweep(bench, engine="python", jobs=1)
    assert found.columns == ("slot.levers.wait", "cycles", "findings", "message")
    assert [row["slot.levers.wait"] for row in found.rows] == [0, 3]


def test_named_variants_are_values(bench: Bench) -> None:
    """The key variant takes the names of variants."""
    found = table(bench, vary=["variant=slow"], measure=["duration"], jobs=1)
    assert found.rows[0]["duration"] == run(bench, "clock=8 MHz").cycles / 8_000_000


def rows(found: Sweep) -> list[Mapping[str, Any]]:
    """Return the rows of a sweep."""
    return list(found.rows)


def test_rows_are_the_same_whoever_runs_them(bench: Bench) -> None:
    """One process, two, and threads give the same table."""
    alone = rows(table(bench, jobs=1))
    assert rows(table(bench, jobs=2)) == alone
    with ThreadPoolExecutor(3) as threads:
        assert rows(table(bench, executor=threads)) == alone


def test_a_worker_that_is_killed_is_replaced(bench: Bench) -> None:
    """A process that ends in the middle loses nothing: its variants are run again."""
    measure = ["cycles", "checks.py:kills_once"]
    (bench.folder / "killed").write_text("x", encoding="utf-8")
    alone = rows(table(bench, measure=measure, jobs=1))
    real = Bench.load(bench.folder)
    (bench.folder / "killed").unlink()
    tasks = {number: _Kill(str(bench.folder), number) for number in range(6)}
    found: dict[int, Any] = {}
    on_processes(tasks, found.__setitem__, 2)
    assert found == {number: {"message": None, "n": number} for number in range(6)}
    (bench.folder / "killed").write_text("x", encoding="utf-8")
    assert rows(table(real, measure=measure, jobs=2)) == alone


class _Kill:
    """A task that ends its process, the first time that one of its kind is run."""

    def __init__(self, folder: str, number: int) -> None:
        self.folder, self.number = folder, number

    def __call__(self) -> dict[str, Any]:
        flag = Path(self.folder) / "killed"
        if self.number == 3 and not flag.exists():
            flag.write_text("x", encoding="utf-8")
            os.kill(os.getpid(), signal.SIGKILL)
        return {"message": None, "n": self.number}


class _AlwaysEnds(_Kill):
    """A task of which number 1 always ends its process."""

    def __call__(self) -> dict[str, Any]:
        if self.number == 1:
            os.kill(os.getpid(), signal.SIGKILL)
        return {"message": None, "n": self.number}


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_a_variant_that_always_ends_its_process_is_a_row(tmp_path: Path) -> None:
    """It is tried twice, then its row says so; all others are run."""
    found: dict[int, Any] = {}
    tasks = {number: _AlwaysEnds(str(tmp_path), number) for number in range(3)}
    on_processes(tasks, found.__setitem__, 1)
    assert found == {
        0: {"message": None, "n": 0},
        1: {"message": "the process that ran it ended, 2 times"},
        2: {"message": None, "n": 2},
    }


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_an_executor_that_breaks_down_is_told(tmp_path: Path) -> None:
    """A pool of one's own whose process is killed takes no more: one sentence, finished rows kept."""
    found: dict[int, Any] = {}
    tasks = {number: _AlwaysEnds(str(tmp_path), number) for number in range(3)}
    told = "executor: the executor ended before all variants were run: BrokenProcessPool"
    pool = ProcessPoolExecutor(1, multiprocessing.get_context("spawn"))
    with pool, pytest.raises(InputError, match=told):
        on_executor(pool, tasks, found.__setitem__)
    assert 1 not in found
    assert all("n" in row for row in found.values())


# The file.


def test_the_file_holds_the_table(bench: Bench, tmp_path: Path) -> None:
    """CSV and JSON hold every row and column; nothing else is left beside them."""
    for suffix in (".csv", ".json"):
        file = tmp_path / f"table{suffix}"
        found = table(bench, jobs=1, file=file, measure=["cycles", "texts", "colours"])
        if suffix == ".csv":
            with file.open(encoding="utf-8", newline="") as text:
                read = list(csv.DictReader(text))
            assert [row["cycles"] for row in read] == [str(row["cycles"]) for row in found.rows]
            assert {row["colours"] for row in read} == {"yes"}
        else:
            assert json.loads(file.read_text(encoding="utf-8")) == [dict(row) for row in found.rows]
    assert not list(tmp_path.glob("*.unfinished"))


def test_parquet_holds_the_table(bench: Bench, tmp_path: Path) -> None:
    """An independent reader gets the same columns from a Parquet file."""
    parquet = pytest.importorskip("pyarrow.parquet")
    found = table(bench, jobs=1, file=tmp_path / "t.parquet", measure=["cycles", "texts"])
    read = parquet.read_table(tmp_path / "t.parquet").to_pydict()
    assert read["cycles"] == found.column("cycles").tolist()
    assert read["texts"] == found.column("texts").tolist()


def test_an_interrupted_sweep_goes_on(bench: Bench, tmp_path: Path) -> None:
    """Rows that are kept are not run again; half of a last line is dropped; the table is the same."""
    file = tmp_path / "table.csv"
    whole = table(bench, jobs=1, file=file, measure=["cycles"])
    expected = file.read_bytes()
    file.unlink()
    seen: list[int] = []

    def stop(done: int, every: int) -> None:
        seen.append(done)
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        table(bench, jobs=1, file=file, measure=["cycles"], progress=stop)
    assert not file.exists()
    kept = tmp_path / "table.csv.unfinished"
    kept.write_bytes(kept.read_bytes()[:-4])
    seen.clear()
    again = table(
        bench, jobs=1, file=file, measure=["cycles"], progress=lambda d, e: seen.append(d)
    )
    assert seen == [2, 3, 4, 5, 6]
    assert rows(again) == rows(whole)
    assert file.read_bytes() == expected
    assert not kept.exists()


def test_the_file_of_another_sweep_is_refused(bench: Bench, tmp_path: Path) -> None:
    """Other values, measures or a changed file of the bench: it is told, and nothing is lost."""
    file = tmp_path / "table.csv"

    def stop(done: int, every: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        table(bench, jobs=1, file=file, measure=["cycles"], progress=stop)
    kept = (tmp_path / "table.csv.unfinished").read_bytes()
    for how in (
        {"measure": ["duration"]},
        {"measure": ["cycles"], "vary": {"slot.levers.wait": [0, 1]}},
    ):
        with pytest.raises(InputError, match="is of another sweep"):
            table(bench, jobs=1, file=file, **how)
    steps = bench.folder / "evening.steps"
    steps.write_text(steps.read_text(encoding="utf-8") + "pause 9\n", encoding="utf-8")
    with pytest.raises(InputError, match="is of another sweep"):
        table(bench, jobs=1, file=file, measure=["cycles"])
    assert (tmp_path / "table.csv.unfinished").read_bytes() == kept


@pytest.mark.parametrize("contents", [b"", b"half a li", b"[1, 2]\n", b"no json\n", b'{"a": 1}\n'])
def test_a_spoiled_file_is_told(tmp_path: Path, contents: bytes) -> None:
    """What is no kept sweep is refused; an empty file and half a first line are a beginning."""
    (tmp_path / "t.csv.unfinished").write_bytes(contents)
    if b"\n" not in contents:
        keeping = Keeping(tmp_path / "t.csv", "x")
        assert keeping.rows == {}
        keeping.close()
        return
    with pytest.raises(InputError, match=r"is no unfinished sweep|is of another sweep"):
        Keeping(tmp_path / "t.csv", "x")
    assert (tmp_path / "t.csv.unfinished").read_bytes() == contents


def test_a_table_replaces_a_file_at_once(tmp_path: Path) -> None:
    """A cell of text with commas and quotes comes back; nothing is a missing value."""
    file = tmp_path / "t.csv"
    write_table(file, ["a", "b"], [{"a": 'x,"y"', "b": None}, {"a": 1, "b": False}])
    assert file.read_text(encoding="utf-8") == 'a,b\n"x,""y""",\n1,no\n'


def start(folder: Path, *words: str) -> subprocess.Popen[bytes]:
    """Start a sweep in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "busbox", "sweep", ".", "--engine", "python", *words],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
    )  # fmt: skip


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_a_process_that_is_stopped_goes_on_the_next_time(
    how: int, bench: Bench, tmp_path: Path
) -> None:
    """Killed, or stopped by Ctrl-C: the same command ends with the same table."""
    vary = ("--vary", "slot.levers.wait=0,1,2,3,4,5")
    words = (
        *vary,
        "--measure",
        "cycles",
        "--measure",
        "checks.py:slow",
        "-o",
        "t.csv",
        "--jobs",
        "2",
    )
    process = start(tmp_path, *words)
    kept = tmp_path / "t.csv.unfinished"
    end = time.monotonic() + 60
    while time.monotonic() < end and (not kept.exists() or kept.read_bytes().count(b"\n") < 3):
        time.sleep(0.02)
    os.killpg(process.pid, how)
    _, said = process.communicate(timeout=30)
    if how == signal.SIGINT:
        assert process.returncode == 130
        assert b"interrupted; the same command goes on from t.csv.unfinished" in said
        assert b"Traceback" not in said
    count = kept.read_bytes().count(b"\n") - 1
    assert 2 <= count < 6
    process = start(tmp_path, *words)
    process.communicate(timeout=60)
    assert process.returncode == 0
    assert not kept.exists()
    measure = ["cycles", "checks.py:slow"]
    found = table(bench, vary=[vary[1]], measure=measure, jobs=1, file=tmp_path / "u.csv")
    assert len(found.rows) == 6
    assert (tmp_path / "t.csv").read_bytes() == (tmp_path / "u.csv").read_bytes()


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_workers_end_with_the_process_that_started_them(bench: Bench, tmp_path: Path) -> None:
    """If that alone is killed, its workers notice, and what waits for their output goes on."""
    vary = "slot.levers.wait=0..40/1"
    words = ("--vary", vary, "--measure", "checks.py:slow", "-o", "t.csv", "--jobs", "2")
    process = start(tmp_path, *words)
    kept = tmp_path / "t.csv.unfinished"
    end = time.monotonic() + 60
    while time.monotonic() < end and (not kept.exists() or kept.read_bytes().count(b"\n") < 3):
        time.sleep(0.02)
    process.kill()
    try:  # Workers hold the other ends of the pipes: these end when the last worker has ended.
        process.communicate(timeout=30)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        raise


@pytest.mark.timeout(110)
def test_a_cluster_loses_a_worker_and_nothing_else(bench: Bench) -> None:
    """On a local cluster of two workers, of which one is killed in the middle: the same table."""
    distributed = pytest.importorskip("distributed")
    measure = ["cycles", "checks.py:slow"]
    alone = rows(table(bench, measure=measure, jobs=1))
    killed: list[int] = []
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        pids = list(client.run(os.getpid).values())

        def kill(done: int, every: int) -> None:
            if not killed:
                killed.append(pids[0])
                os.kill(pids[0], signal.SIGKILL)

        found = table(bench, measure=measure, executor=client.get_executor(), progress=kill)
    assert killed
    assert rows(found) == alone


# Mistakes, before anything runs.


@pytest.mark.parametrize(
    ("vary", "measure", "file", "message"),
    [
        (["slot.lever.wait=1"], None, None, "there is no slot 'lever'; did you mean 'levers'?"),
        (["slot.levers.wat=1"], None, None, "unknown key 'wat'; did you mean 'wait'?"),
        (["variant=slo"], None, None, "there is no variant 'slo'; did you mean 'slow'?"),
        (["slot.levers.wait=-1"], None, None, "slot.levers.wait: must be"),
        ([], None, None, "must be given: KEY=VALUES"),
        (["clock=8MHz"], ["cycle"], None, "there is no measure 'cycle'; did you mean 'cycles'?"),
        (["clock=8MHz"], ["cycles", "cycles"], None, "cycles must be there once"),
        (["clock=8MHz"], ["registers.lamp.COUNT"], None, "there is no slot 'lamp'"),
        (["clock=8MHz"], ["registers.lamps.CONT"], None, "lamps has no register 'CONT'"),
        (["clock=8MHz"], ["registers.lamps"], None, "must be registers.SLOT.REGISTER"),
        (["clock=8MHz"], ["counts.byte-lst"], None, "did you mean 'byte-lost'?"),
        (
            ["clock=8MHz"],
            ["margin.strng.P4"],
            None,
            "there is no lamp string 'strng'; did you mean",
        ),
        (["clock=8MHz"], ["margin.string.P9"], None, "was not judged by a profile 'P9'"),
        (["clock=8MHz"], ["margin.string.P4.zero"], None, "P4 has no window 'zero'"),
        (["clock=8MHz"], ["checks.py:none"], None, "none"),
        (
            ["clock=8MHz"],
            ["checks.py:wrong"],
            None,
            "must return a finite number, a text or nothing",
        ),
        (["clock=8MHz"], ["checks.py:breaks"], None, "raised ZeroDivisionError: no"),
        (["clock=8MHz"], None, "t.txt", "must end in .csv, .json or .parquet, not 't.txt'"),
        (["clock=8MHz"], None, "no/t.csv", "there is no folder"),
    ],
)
def test_a_mistake_is_told_before_anything_runs(
    bench: Bench, vary: list[str], measure: list[str] | None, file: str | None, message: str
) -> None:
    """Keys, values, measures and files that cannot be are refused, and nothing is written."""
    with pytest.raises(InputError) as caught:
        table(bench, vary=vary, measure=measure, file=file)
    assert message in str(caught.value)
    assert not list(bench.folder.glob("*.unfinished"))


def test_every_measure_has_a_meaning_of_its_own() -> None:
    """Names and texts of the measures are there once."""
    assert len({one.name for one in BUILT_IN}) == len(BUILT_IN)
    assert all(one.text for one in BUILT_IN)


def test_a_changed_file_of_a_device_is_read_again(tmp_path: Path) -> None:
    """Two sweeps of one process: an image that was changed in between is the one that is run."""
    (tmp_path / "page.bin").write_bytes(bytes([1, 0, 0, 0]))
    keys = {
        "clock": "1 MHz",
        "slot": {"page": {"model": "memory", "base": 0, "size": 0x100, "kind": "rom",
                          "file": "page.bin", "as": "hardware"}},
        "traffic": {"file": "one.steps"},
    }  # fmt: skip
    (tmp_path / "one.steps").write_text("read 0x0 = 1\n", encoding="utf-8")
    bench = Bench(keys, folder=tmp_path)
    vary, measure = {"slot.page.wait": [1, 2]}, ["findings"]
    first = busbox.sweep(bench, vary, measure, engine="python", jobs=1)
    assert first.column("findings").tolist() == [0, 0]
    (tmp_path / "page.bin").write_bytes(bytes([2, 0, 0, 0]))
    again = busbox.sweep(bench, vary, measure, engine="python", jobs=1)
    assert again.column("findings").tolist() == [1, 1]
