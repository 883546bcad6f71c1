"""Measures against calculation by hand, on benches of a few accesses."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox import Recording
from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.variants.measures import (
    BUILT_IN,
    WITH_PARTS,
    Base,
    Cell,
    Measured,
    default_measures,
    masked,
    measure_of,
    measures_of,
)
from busbox.variants.sweep import sweep
from tests.variants.small import STEPS, run, write_bench

AGAIN = "pause 20 us\nwrite lamps.CONTROL 1\n"
POLL = "poll lamps.STATUS & 1 == 0 every 12\n"


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """Return the small bench."""
    return write_bench(tmp_path)


def measured(bench: Bench, name: str, run_of: Recording, base: Recording | None = None) -> Cell:
    """Return a measure of a run, against itself or another one."""
    one = measure_of(name, bench.system(), bench.folder)
    return one.of(Measured(run_of, Base.of(base or run_of)))


def with_steps(bench: Bench, *changes: tuple[str, str]) -> Recording:
    """Run the small bench with its steps changed."""
    text = STEPS
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (bench.folder / "evening.steps").write_text(text, encoding="utf-8")
    return run(bench)


def _three(bus: Any) -> None:
    bus.write("levers.OUT", 5)
    bus.write("levers.OUT", 6)
    bus.read("levers.OUT")


def three(wait: int) -> Bench:
    """Return a bench at 1 MHz with three accesses to a slot with wait states."""
    lever = {"model": "gpio", "base": 0x4000_0000, "size": 0x1000, "wait": wait}
    return Bench({"clock": "1 MHz", "slot": {"levers": lever}, "traffic": _three})


@pytest.mark.parametrize("wait", [0, 1, 3])
def test_length_and_use_of_the_bus(wait: int) -> None:
    """Three accesses of wait + 1 cycles follow each other, after cycle 0 and before the last one."""
    bench = three(wait)
    one = bench.run("python")
    busy = 3 * (wait + 1)
    cycles = busy + 2
    for name, value in {
        "cycles": cycles,
        "duration": cycles / 1_000_000,
        "accesses": 3,
        "bus_use": busy / cycles,
        "registers.levers.OUT": 6,
        "ended": "done",
        "findings": 0,
        "rules": "",
        "met": 0,
        "expectations": 0,
        "frames": 0,
        "texts": "equal",
        "colours": True,
        "certain_until": None,
    }.items():
        assert measured(bench, name, one) == value, name


def test_margins_are_the_distance_to_the_window(bench: Bench) -> None:
    """A string at 16 MHz with pulses of 7 and 13 of 20 cycles, against the windows of profile P4.

    P4 (common practice, no source): 400, 800, 850 and 450 ns, each +-150 ns.
    """
    recording = run(bench)
    short, long = 7 * 62.5, 13 * 62.5
    for window, margin in {
        "zero_high": 400 + 150 - short,
        "one_high": 800 + 150 - long,
        "zero_low": long - (850 - 150),
        "one_low": short - (450 - 150),
    }.items():
        assert measured(bench, f"margin.string.P4.{window}", recording) == margin
    assert measured(bench, "margin.string.P4", recording) == 400 + 150 - short
    assert measured(bench, "kept.string.P4", recording) is True
    late = with_steps(bench, ("0x000d0007", "0x00100007"))
    assert measured(bench, "margin.string.P4.one_high", late) == 800 + 150 - 16 * 62.5
    assert measured(bench, "margin.string.P4", late) == 800 + 150 - 16 * 62.5
    assert measured(bench, "kept.string.P4", late) is False


def test_a_window_without_a_pulse_has_no_margin(bench: Bench) -> None:
    """One frame alone has no gap between frames; a string that never sends has no margin at all."""
    alone = with_steps(bench, (AGAIN, ""))
    silent = with_steps(bench, ("write lamps.CONTROL 1\n", ""), (AGAIN, ""))
    assert measured(bench, "margin.string.P4", silent) is None
    assert measured(bench, "margin.string.P4.gap", alone) is None
    assert measured(bench, "margin.string.P4", alone) == 112.5


def test_frames_are_timed_from_start_to_start(bench: Bench) -> None:
    """A pause that is 10 us longer makes an interval 10 us longer; the rate is over all intervals."""
    base = run(bench)
    interval = measured(bench, "frame_interval.string", base)
    assert isinstance(interval, float)
    # Two frames of 48 bits of 20 cycles, 960 cycles of gap, 20 us; then a poll of 12 cycles.
    cycles = 48 * 20 + 960 + 320
    assert cycles <= round(interval * 16_000_000) <= cycles + 20
    again = f"{AGAIN}{POLL}pause 30 us\nwrite lamps.CONTROL 1\n"
    three_frames = with_steps(bench, (AGAIN, again))
    assert measured(bench, "frames", three_frames) == 3
    assert measured(bench, "frame_interval.string", three_frames) == pytest.approx(interval + 1e-5)
    rate = measured(bench, "frames_per_second.string", three_frames)
    assert rate == pytest.approx(2 / (interval + interval + 1e-5))
    one = with_steps(bench, (AGAIN, ""))
    assert measured(bench, "frames_per_second.string", one) is None
    assert measured(bench, "frame_interval.string", one) is None


def test_findings_are_counted(bench: Bench) -> None:
    """A byte is sent, the next one waits, two more are lost; and two starts of a busy string."""
    lost = "write telegraph.DATA 0x67\n" + "write telegraph.DATA 0x68\n" * 3
    one = with_steps(bench, ("write telegraph.DATA 0x67\n", lost))
    assert measured(bench, "bytes_lost", one) == 2
    assert measured(bench, "counts.byte-lost", one) == 2
    missed = "write lamps.CONTROL 1\n" * 3
    two = with_steps(bench, ("write lamps.CONTROL 1\n", missed))
    assert measured(bench, "frames_missed", two) == sum(two.counts["frame-missed"].values()) == 2
    assert measured(bench, "rules", two) == "frame-missed 2"
    assert measured(bench, "findings", two) == 2
    assert measured(bench, "counts.byte-lost", two) == 0


def test_expectations_are_counted(bench: Bench) -> None:
    """One expectation, met, then not."""
    assert [measured(bench, name, run(bench)) for name in ("met", "expectations")] == [1, 1]
    other = with_steps(bench, ("0x67", "0x68"))
    assert [measured(bench, name, other) for name in ("met", "expectations")] == [0, 1]


def test_a_run_is_certain_until_the_read_that_differs(bench: Bench) -> None:
    """The time at which the last read ends, which has another word than the recorded one."""
    other = with_steps(bench, ("read levers.OUT = 1", "read levers.OUT = 0"))
    assert measured(bench, "certain_until", other) == int(other.accesses.end[-1]) / 16_000_000
    assert measured(bench, "certain_until", run(write_bench(bench.folder))) is None


def test_texts_and_colours_are_those_of_the_base(bench: Bench) -> None:
    """Equal, equal but for digits, or different; frames by all colours and their number."""
    base = with_steps(bench, ("0x67", "0x31"))
    for byte, value in (("0x31", "equal"), ("0x39", "digits"), ("0x67", "differ")):
        one = with_steps(bench, ("0x67", byte))
        assert measured(bench, "texts", one, base) == value
    assert measured(bench, "colours", base, base) is True
    for change in (("0x400000", "0x400001"), (AGAIN, "")):
        assert measured(bench, "colours", with_steps(bench, change), base) is False


def test_each_run_of_digits_is_masked() -> None:
    """A number is one mark, however long it is."""
    assert masked("at 9 and 10.25: x7\n") == "at # and #.#: x#\n"


def test_without_names_everything_is_measured(bench: Bench) -> None:
    """All built-in measures, then kept and margin of each profile."""
    names = [one.name for one in default_measures(bench.system(), run(bench))]
    assert names == [*(one.name for one in BUILT_IN), "kept.string.P4", "margin.string.P4"]


def test_margins_stand_for_every_window(bench: Bench) -> None:
    """Each window once, and a function beside them is found again by whoever runs the variants."""
    names = ["margins", "checks.py:edges"]
    found = measures_of(names, bench.system(), run(bench), bench.folder)
    windows = ["zero_high", "one_high", "zero_low", "one_low", "gap"]
    assert [one.name for one in found] == [*(f"margin.string.P4.{one}" for one in windows), "edges"]
    vary = {"slot.levers.wait": [1]}
    (row,) = sweep(bench, vary, names, engine="python", jobs=1).rows
    assert row["message"] is None
    assert row["edges"] == 2 * 96  # two frames of 48 bits, each up and down
    assert row["margin.string.P4.one_high"] == 137.5


def test_a_variant_without_that_profile_has_empty_cells(bench: Bench) -> None:
    """A variant that is judged by another profile is measured in all else."""
    vary = {"attach.string.profile": ["P4", "P1"]}
    names = ["cycles", "kept.string.P4", "margin.string.P4"]
    rows = sweep(bench, vary, names, engine="python", jobs=1).rows
    assert [row["message"] for row in rows] == [None, None]
    assert rows[0]["cycles"] == rows[1]["cycles"]
    assert (rows[1]["kept.string.P4"], rows[1]["margin.string.P4"]) == (None, None)


@pytest.mark.parametrize(
    ("body", "value"),
    [
        ("return np.int64(3)", 3),
        ("return np.float64(0.5)", 0.5),
        ("return np.bool_(True)", True),
        ("return None", None),
        ("return 'go'", "go"),
        ("return 2 ** 70", 2**70),
    ],
)
def test_a_function_returns_a_cell(bench: Bench, body: str, value: Cell) -> None:
    """Numbers of NumPy are those of Python."""
    text = f"import numpy as np\n\ndef own(recording):\n    {body}\n"
    (bench.folder / "own.py").write_text(text, encoding="utf-8")
    found = measured(bench, "own.py:own", run(bench))
    assert found == value
    assert type(found) is type(value)


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("return float('nan')", "must return a finite number, a text or nothing, not nan"),
        ("return np.float64('inf')", "must return a finite number"),
        ("return np.array([1, 2])", "must return a finite number"),
        ("return {}", "must return a finite number"),
        ("raise SystemError('x')", "raised SystemError: x"),
    ],
)
def test_what_is_no_cell_is_refused(bench: Bench, body: str, message: str) -> None:
    """The function is named, and what it returned."""
    text = f"import numpy as np\n\ndef own(recording):\n    {body}\n"
    (bench.folder / "own.py").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        measured(bench, "own.py:own", run(bench))
    assert message in str(caught.value)
    assert str(caught.value).startswith("own.py:own ")


@pytest.mark.parametrize("column", ["message", "clock"])
def test_a_function_called_like_another_column_is_refused(bench: Bench, column: str) -> None:
    """No column hides another one."""
    text = f"def {column}(recording):\n    return 1\n"
    (bench.folder / "own.py").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=f"the table has a column '{column}'"):
        sweep(bench, {"clock": ["8 MHz"]}, [f"own.py:{column}"], engine="python", jobs=1)


def test_every_measure_with_parts_can_be_asked_for(bench: Bench) -> None:
    """Each of the list has an example that gives something for the small bench."""
    recording = run(bench)
    names = (
        "margin.string.P4",
        "kept.string.P4",
        "frame_interval.string",
        "frames_per_second.string",
        "registers.lamps.COUNT",
        "counts.byte-lost",
    )
    assert {name.partition(".")[0] for name in names} == set(WITH_PARTS)
    for name in names:
        assert measured(bench, name, recording) is not None
