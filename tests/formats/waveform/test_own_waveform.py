"""The waveform of a run, imported: exactly the accesses that it shows."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from busbox import Bench, Recording, load_bench
from busbox.bench.find import packaged_benches, packaged_sets
from busbox.cpu.steps import AccessStep
from busbox.exports.contract import Result, target_of
from busbox.exports.waveform import write
from tests.against_naive import bench_of
from tests.formats.waveform.drawing import imported
from tests.plans import Plan, plans

pytestmark = pytest.mark.quick

SIGNALS = ("cyc", "stb", "we", "adr", "sel", "write_data", "read_data", "ack", "err")
MAP = {
    "kind": "wishbone", "cycle": "busbox.cycle", "reset": "busbox.rst",
    **{name: f"busbox.bus.{name}" for name in SIGNALS},
}  # fmt: skip
BENCHES = [
    *packaged_benches(),
    *(f"{name}/{file.parent.name}" for name, folder in packaged_sets().items()
      for file in sorted(folder.glob("*/bench.toml"))),
]  # fmt: skip


def expected(recording: Recording) -> list[AccessStep]:
    """Return the steps of the accesses that a waveform shows: those that no reset cut off."""
    found, last, columns = [], 0, recording.accesses
    for number, terminator in enumerate(columns.terminators):
        if terminator == "reset":
            continue
        start, end = int(columns.start[number]), int(columns.end[number])
        word = bool(columns.write[number]) or terminator == "ack"
        found.append(
            AccessStep(
                bool(columns.write[number]),
                int(columns.address[number]),
                int(columns.data[number]) if word else None,
                int(columns.lanes[number]),
                start - last - 1,
            )
        )
        last = end
    return found


def waveform(recording: Recording, bench: Bench, path: Path) -> bytes:
    """Return the waveform file of a run."""
    with target_of(str(path)) as target:
        write(Result(recording, bench.system), target)
    return path.read_bytes()


@pytest.mark.parametrize("name", BENCHES)
def test_the_waveform_of_a_bench_is_its_accesses(name: str, tmp_path: Path) -> None:
    """Start, waits, address, data, lanes and write of every access of every bench that comes along."""
    bench = load_bench(name)
    recording = bench.run("python", until=40_000)
    steps, notes = imported(waveform(recording, bench, tmp_path / "run.vcd"), MAP)
    assert steps == expected(recording)
    resets = len(recording.resets)
    assert len([note for note in notes if note.startswith("the reset at")]) == min(resets, 1)
    cut = recording.accesses.terminators.count("reset")
    shown_cut = [note for note in notes if "cut off by a reset" in note]
    assert len(shown_cut) <= min(cut, 1)


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(plan=plans(waiting=False))
def test_the_waveform_of_any_run_is_its_accesses(plan: Plan, tmp_path: Path) -> None:
    """Any traffic, with waits, holds, errors, hangs and resets."""
    bench = bench_of(plan)
    recording = bench.run("python", plan["until"])
    steps, _ = imported(waveform(recording, bench, tmp_path / "a.vcd"), MAP)
    assert steps == expected(recording)


def test_a_bench_plays_the_waveform_of_its_own_run(tmp_path: Path) -> None:
    """``[traffic.signals]``: run, wave, run that: the same accesses, and nothing to tell."""
    bench = load_bench("first_light")
    before = bench.run("python")
    waveform(before, bench, tmp_path / "run.vcd")
    again = bench.run("python", traffic={"file": str(tmp_path / "run.vcd"), "signals": MAP})
    assert expected(again) == expected(before)
    assert again.findings == ()
    assert not [note for note in again.notes if note.startswith("Traffic:")]


def test_a_bench_tells_what_lies_outside_its_slots(tmp_path: Path) -> None:
    """In a bench without those slots, their accesses are idle time; the run says how many."""
    bench = load_bench("first_light")
    waveform(bench.run("python"), bench, tmp_path / "run.vcd")
    other = Bench(
        {
            "clock": "16 MHz",
            "slot": {"ram": {"model": "memory", "base": 0x4000_1000, "size": 0x1000}},
            "traffic": {"file": str(tmp_path / "run.vcd"), "signals": MAP},
        }
    )
    recording = other.run("python")
    assert {int(one) & ~0xFFF for one in recording.accesses.address} == {0x4000_1000}
    (note,) = (one for one in recording.notes if one.startswith("Traffic:"))
    count = len(bench.run("python").accesses) - len(recording.accesses)
    assert note == (f"Traffic: {count} accesses outside the slots of the bench became idle time.")
