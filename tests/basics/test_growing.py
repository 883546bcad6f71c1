"""Long runs: columns go to a file, traffic is read again, and nothing else changes."""

from __future__ import annotations

import gc
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import busbox.basics.growing
import busbox.cpu.listed
import busbox.cpu.player
import busbox.recording
import busbox.run.host
import busbox.run.loop
from busbox import Recording, load_bench
from busbox.basics.errors import InputError
from busbox.basics.growing import Column
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import AccessStep, Named, Step
from busbox.exports.json_report import as_object
from busbox.exports.waveform import write_vcd
from busbox.recording import COLUMNS

PACKAGE = str(Path(busbox.basics.growing.__file__).parent / "*")


@pytest.fixture
def small(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make everything that is long begin at a few numbers."""
    monkeypatch.setattr(busbox.basics.growing, "IN_MEMORY", 128)
    monkeypatch.setattr(busbox.run.host, "SETTLED", 4)
    monkeypatch.setattr(busbox.recording.accesses, "WINDOW", 7)
    monkeypatch.setattr(busbox.exports.waveform_changes, "AT_ONCE", 7)
    monkeypatch.setattr(busbox.cpu.player, "AHEAD", 8)
    monkeypatch.setattr(busbox.run.loop, "AT_HAND", 8)
    monkeypatch.setattr(busbox.cpu.listed, "KEPT_STEPS", 5)


@pytest.mark.quick
@given(parts=st.lists(st.lists(st.integers(-(2**31), 2**31 - 1), max_size=40), max_size=12))
def test_a_column_is_what_was_put_in(parts: list[list[int]]) -> None:
    """A column gives back all values in order, whether it is in memory or in a file."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(busbox.basics.growing, "IN_MEMORY", 64)
        column, seen = Column("i4"), []
        for part in parts:
            column.extend(part)
            seen.append((column.array(), len(column)))
    whole = [value for part in parts for value in part]
    for array, length in seen:
        assert array.tolist() == whole[:length]


def test_a_full_disk_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there is no room for the temporary file, one sentence says so."""

    def full() -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(busbox.basics.growing.tempfile, "TemporaryFile", full)
    monkeypatch.setattr(busbox.basics.growing.tempfile, "gettempdir", lambda: "TMP")
    with pytest.raises(InputError) as told:
        Column("u1").extend(np.zeros(busbox.basics.growing.IN_MEMORY + 1, dtype="u1"))
    expected = "TMP: not enough disk space to record a long run: No space left on device"
    assert str(told.value) == expected


def equal(one: Recording, other: Recording, folder: Path) -> None:
    """Compare two recordings in all that can be read from them."""
    assert as_object(one) == as_object(other)
    for name in COLUMNS:
        assert one.accesses[name].tolist() == other.accesses[name].tolist(), name
    for pin, line in one.lines.items():
        there = other.lines[pin]
        assert line.cycles.tolist() == there.cycles.tolist(), pin
        assert line.levels.tolist() == there.levels.tolist(), pin
        assert line.accesses.tolist() == there.accesses.tolist(), pin
    for name, recording in (("one", one), ("other", other)):
        with (folder / f"{name}.vcd").open("w", encoding="ascii") as text:
            write_vcd(recording, text)
    assert (folder / "one.vcd").read_bytes() == (folder / "other.vcd").read_bytes()


@pytest.fixture(scope="module")
def short_runs() -> dict[str, Recording]:
    """Run benches with everything in memory."""
    return {name: load_bench(name).run("reference") for name in ("edges", "interrupted")}


@pytest.mark.parametrize("name", ["edges", "interrupted"])
def test_a_long_run_is_recorded_as_a_short_one(
    name: str, short_runs: dict[str, Recording], small: None, tmp_path: Path
) -> None:
    """With columns in files, windows of seven accesses and traffic read again, all is the same."""
    long = load_bench(name).run()
    assert isinstance(long.accesses.start.base, np.memmap)
    equal(long, short_runs[name], tmp_path)
    long.save(tmp_path / "long.recording.npz")
    loaded = Recording.load(tmp_path / "long.recording.npz")
    assert isinstance(loaded.accesses.start.base, np.memmap)
    equal(loaded, short_runs[name], tmp_path)


def taps(count: int) -> ListedSource:
    """Return a source of ``count`` steps, made as they are asked for."""

    def steps() -> Iterator[Step]:
        for _ in range(count // 2):
            yield AccessStep(True, Named("levers", "TOGGLE"), 1)
            yield AccessStep(False, Named("levers", "IN"))

    return ListedSource(steps)


def test_memory_does_not_grow_with_the_run(small: None) -> None:
    """What the package holds at the end is the same after four times the accesses and edges."""

    def held(count: int) -> int:
        bench = load_bench("first_light")
        tracemalloc.start()
        try:
            recording = bench.run(traffic=taps(count))
            assert len(recording.accesses) == count
            gc.collect()  # what is left of a run may refer to itself
            traces = tracemalloc.take_snapshot().filter_traces([tracemalloc.Filter(True, PACKAGE)])
            return sum(trace.size for trace in traces.traces)
        finally:
            tracemalloc.stop()

    held(20)  # loads modules
    short, long = held(100), held(400)
    assert long < short + 10_000  # in memory, 300 accesses and 150 edges would take 20,000
