"""Waveform files against an independent reader (vcdvcd), row by row."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from vcdvcd import VCDVCD

from busbox import load_bench
from busbox.basics.errors import InputError
from busbox.exports.contract import Result, target_of
from busbox.exports.waveform import write
from busbox.recording import Recording
from busbox.system.system import System
from tests.against_naive import Plan, bench_of
from tests.plans import plans

pytestmark = pytest.mark.quick


def write_vcd(recording: Recording, path: Path) -> None:
    """Write a recording's waveform file, without names that its system gives."""
    with target_of(str(path)) as target:
        write(Result(replace(recording, carried=None), _no_system), target)


def _no_system() -> System:
    raise InputError.of("the recording carries no bench")


def stamp(row: int, clock_hz: int) -> int:
    """Return round(row x 10^12 / f) in picoseconds, from the semantics of the plan."""
    return int((row * 10**12 * 2 + clock_hz) // (2 * clock_hz))


def level(vcd: VCDVCD, name: str, time: int) -> int:
    """Return the value of a signal at a time."""
    return int(vcd[name][time], 2)


def expected_bus(recording: Recording, row: int) -> dict[str, int]:
    """Return the bus of a row, from the accesses by the semantics page."""
    idle = dict.fromkeys(
        ("cyc", "stb", "we", "adr", "sel", "write_data", "read_data", "ack", "err"), 0
    )
    columns = recording.accesses
    for number, terminator in enumerate(columns.terminators):
        start, end = int(columns.start[number]), int(columns.end[number])
        up = start <= row < end or (row == end and terminator != "reset")
        if not up:
            continue
        write, data = bool(columns.write[number]), int(columns.data[number])
        last = row == end
        return {
            "cyc": 1,
            "stb": 1,
            "we": int(write),
            "adr": int(columns.address[number]),
            "sel": int(columns.lanes[number]),
            "write_data": data if write else 0,
            "read_data": data if last and not write and terminator == "ack" else 0,
            "ack": int(last and terminator == "ack"),
            "err": int(last and terminator in ("error", "watchdog")),
        }
    return idle


def check_rows(recording: Recording, path: Path) -> None:
    """Compare every row of the file with the recording."""
    write_vcd(recording, path)
    vcd = VCDVCD(str(path))
    clock = recording.clock_hz
    bus = [name for name in vcd.signals if ".bus." in name]
    for row in range(recording.cycles):
        time = stamp(row, clock)
        seen = {name.rpartition(".")[2].partition("[")[0]: level(vcd, name, time) for name in bus}
        assert seen == expected_bus(recording, row), row
        in_reset = any(at <= row < at + length for at, length in recording.resets)
        assert level(vcd, "busbox.rst", time) == in_reset
        for pin, line in recording.lines.items():
            slot, _, name = pin.partition(".")
            place = int((line.cycles <= row).sum()) - 1
            assert level(vcd, f"busbox.{slot}.{name.replace('.', '_')}", time) == line.levels[place]
    assert vcd.endtime == stamp(recording.cycles, clock)


_RELAXED: dict[str, Any] = {
    "deadline": None,
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
}


@settings(max_examples=25, **_RELAXED)
@given(
    plan=plans(devices=("uart", "timer", "holder"), most=8), clock=st.sampled_from((3, 7, 10**6))
)
def test_an_independent_reader_sees_every_row(
    plan: Plan, clock: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Bus, reset and pins of every row are in the file, at the time of the row's beginning."""
    plan = plan | {"clock_hz": clock, "until": min(plan["until"] or 150, 150)}
    check_rows(bench_of(plan).run(until=plan["until"]), tmp_path_factory.mktemp("vcd") / "a.vcd")


def test_the_cycle_number_stands_at_every_stamp(tmp_path: Path) -> None:
    """The signal ``cycle`` turns times back into cycles, exactly."""
    recording = load_bench("first_light").run(until=900)
    path = tmp_path / "a.vcd"
    write_vcd(recording, path)
    vcd = VCDVCD(str(path))
    (name,) = (name for name in vcd.signals if name.startswith("busbox.cycle"))
    changes = [(time, int(value, 2)) for time, value in vcd[name].tv]
    assert all(time == stamp(row, 16_000_000) for time, row in changes)
    assert len(changes) > 50


def test_two_files_of_one_run_are_the_same(tmp_path: Path) -> None:
    """No date, no order by chance: the same run gives the same bytes, in plain ASCII."""
    for name in ("a.vcd", "b.vcd"):
        write_vcd(load_bench("first_light").run(until=900), tmp_path / name)
    contents = (tmp_path / "a.vcd").read_bytes()
    assert contents == (tmp_path / "b.vcd").read_bytes()
    assert contents.isascii()
    assert b"$timescale 1 ps $end" in contents
