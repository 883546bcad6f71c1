"""What ``make bench`` measures can be measured."""

from __future__ import annotations

from functools import partial

import pytest

pytest.importorskip("resource", reason="Windows cannot say how much memory was used")

from busbox import load_bench
from tests.benchmark import FULL, SHORT, best_reference, cases, in_hardware, main, measure
from tests.benchmark_core import EXECUTORS, PROGRAMS
from tests.benchmark_growth import CASES
from tests.plain_bench import plain

#: The same steps as in "10000 accesses", more of them.
LONGER = {"100000 accesses", "1000000 accesses"}


@pytest.mark.parametrize("case", sorted(cases(FULL).keys() - LONGER))
def test_each_case_is_a_bench_that_is_right(case: str) -> None:
    """Every system that is measured is built without a mistake."""
    assert cases(FULL)[case]().devices


@pytest.mark.parametrize("engine", ["best", "reference", "python", "llvm"])
def test_a_case_is_measured_on_every_engine(engine: str) -> None:
    """As many cycles are run as were asked for, with the accesses of that time."""
    measured = measure("empty model", engine, 240, 1)
    # Semantics page, rule 4: with 10 idle cycles and a wait state, access n ends in 12 (n + 1).
    assert (measured["cycles"], measured["accesses"]) == (240, 19)
    assert best_reference().name == "reference"  # type: ignore[attr-defined]


ENGINES = ["reference", "python", "llvm"]
WITH_BEST = ["reference", "reference at its best", "python", "llvm"]
#: Every section, and how its rows begin; None: rows that differ from run to run.
SECTIONS: dict[str, list[str] | None] = {
    "a: the cabin on hardware devices": WITH_BEST,
    "b: the cabin with models": ENGINES,
    "c: first_light with pauses, models": ENGINES,
    "c: ten times the pause": ENGINES,
    "c: first_light with pauses, a hardware timer": ENGINES,
    "c: ten times the pause, a hardware timer": ENGINES,
    "d: 4 slots of hardware": WITH_BEST,
    "Growth with slots of hardware, engine llvm": ["4 slots"],
    "Growth with accesses, steps in Python, engine llvm": ["", "", "", "30 accesses take"],
    "A model's access costs": ["busbox run first_light, from shell to summary: "],
    "decoding": [f"{line}, {what}" for line in ("lamp line", "serial line")
                 for what in ("plain Python", "decoded", "decoded, judged, described")],
    "executing": [f"{what}, {how}" for what, ways in (
        ("loop", ["plain interpreter", *EXECUTORS]), *((one, EXECUTORS) for one in PROGRAMS),
        ("signal_cabin", ["engine python", "engine llvm"]),
    ) for how in ways],
    "growing": list(CASES),
    "variants a second": ["first_light"],
    "first_light in hardware": ["plain test bench", "python, first run", "python, second run"],
    "signal_cabin in hardware": ["plain test bench", "python, second run"],
    "Where the time of (b) goes, engine llvm": None,
}  # fmt: skip


@pytest.mark.parametrize(
    ("name", "bench", "accesses"),
    [("first_light", "first_light", 0), ("signal_cabin", "signal_cabin_recorded", 40)],
)
def test_the_plain_test_bench_does_the_same(name: str, bench: str, accesses: int) -> None:
    """It reads and writes the words of the bench in hardware: with polls, in the same cycles too."""
    words: list[int] = []
    plain(name, accesses).run(words.append)
    until = 1_500 if accesses else None
    recorded = in_hardware(load_bench(bench)).run("python", until).accesses.data.tolist()
    assert words == recorded[: accesses or None]
    assert len(words) == (accesses or 515)


def test_the_whole_benchmark_runs_in_a_short_form(capsys: pytest.CaptureFixture[str]) -> None:
    """Every section is printed with every row, whatever the times in them."""
    main(SHORT, partial(measure, sizes=SHORT))
    heading, *sections = capsys.readouterr().out.split("\n\n")
    assert "  ".join(heading.split()[-4:]) == "cycles/s  accesses/s  MB  ratio"
    assert len(sections) == len(SECTIONS)
    for section, (title, begins) in zip(sections, SECTIONS.items(), strict=True):
        first, *rows = section.splitlines()
        assert first.startswith(title)
        assert rows
        if begins is not None:
            assert len(rows) == len(begins)
            for row, begin in zip(rows, begins, strict=True):
                assert row.strip().startswith(begin)
