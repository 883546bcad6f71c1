"""A run with a terminal is repeated by the tables of what was typed, on every engine and to its end."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox import Bench
from busbox.run.live import LOOKS, Live
from tests.core import assembler as asm
from tests.core.assembler import Assembly
from tests.programs import bench_keys
from tests.run.test_live import MEMORY, Script, assert_same, still

#: The clock of the bench in Hz, and cycles between two looks by simulated time.
CLOCK = 1_000_000
LOOK = CLOCK // LOOKS
ENGINES = ("python", "llvm")


@cache
def sleeper(folder: Path) -> dict[str, Any]:
    """Return the keys of a bench whose core sleeps, sends back what it receives, and sleeps again."""
    program = Assembly(0)
    program.words(*asm.li(5, 0x4000_1000), asm.addi(6, 0, 2), asm.sw(6, 5, 0xC))
    program.words(*asm.li(7, 1 << 11), asm.csrrw(0, 0x304, 7))
    program.words(asm.WFI, asm.lw(8, 5, 0), asm.sw(8, 5, 0), asm.jal(0, -12))
    (folder / "sleeper.bin").write_bytes(program.image())
    keys = bench_keys("sleeper.bin", memory=MEMORY, interrupt="telegraph.interrupt")
    keys["traffic"]["at"] = 0
    keys["slot"]["telegraph"]["divisor"] = 100
    return {**keys, "clock": f"{CLOCK} Hz"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the program."""
    return tmp_path_factory.mktemp("sleeper")


class Closing(Script):
    """A far end like a pipe: None closes it, and the run goes on."""

    def typed(self, wait: float) -> bytes:
        """Return what the script has for this look."""
        data = super().typed(wait)
        self.closed, self.ended = self.ended, False
        return data


@settings(max_examples=12, deadline=None)
@given(
    script=st.dictionaries(st.integers(0, 9), st.binary(min_size=1, max_size=3), max_size=3),
    end=st.integers(0, 10),
    how=st.sampled_from(["ended", "closed", "until"]),
    first=st.sampled_from(ENGINES),
)
def test_a_sleeping_core_sleeps_as_long_as_before(
    folder: Path, script: dict[int, bytes], end: int, how: str, first: str
) -> None:
    """Ctrl-D, the end of a pipe or --until, with a core asleep or not: each engine repeats the run."""
    typed: dict[int, bytes | None] = {at: data for at, data in script.items() if at < end}
    until = 10 * LOOK + 5 if how == "until" else None
    far = (Script if how == "ended" else Closing)(typed if until else {**typed, end: None})
    bench = Bench(sleeper(folder), folder=folder, name="sleeper")
    live = still("telegraph", far)
    recording = bench.run(first, until, live=live)
    assert recording.cycles >= (until or end * LOOK + 1)
    assert len(recording.texts.get("telegraph", "")) <= sum(map(len, script.values()))
    keys = {**bench.keys, "input": live.tables()}
    again = Bench(keys, folder=folder, name="sleeper")
    stopped = recording.cycles if recording.ended == "until" else None
    for engine in ENGINES:
        repeated = again.run(engine, stopped)
        assert_same(repeated, recording)
        assert repeated.findings == recording.findings


def test_a_closed_terminal_ends_a_sleep(folder: Path) -> None:
    """The end of a pipe in look 3: the core would sleep for ever, so that the run is over there."""
    bench = Bench(sleeper(folder), folder=folder, name="sleeper")
    recording = bench.run("llvm", live=still("telegraph", Closing({1: b"a", 3: None})))
    assert (recording.ended, recording.cycles) == ("done", 3 * LOOK + 1)
    assert recording.texts["telegraph"] == "a"


def test_the_end_of_a_terminal_in_the_middle_of_a_byte_does_not_touch_it(folder: Path) -> None:
    """A level in the middle of the start bit would end it: none is among the tables."""
    bench = Bench(sleeper(folder), folder=folder, name="sleeper")
    live = still("telegraph", Closing({1: b"aU", 2: None}))
    base = bench.keys
    base["slot"]["telegraph"]["divisor"] = 1_000
    try:
        recording = bench.run("llvm", live=live)
        again = Bench({**base, "input": live.tables()}, folder=folder, name="sleeper").run("llvm")
    finally:
        base["slot"]["telegraph"]["divisor"] = 100
    assert recording.texts["telegraph"] == "aU"
    assert "level" not in live.tables()[-1]
    assert_same(again, recording)


@pytest.mark.parametrize("pace", [None, 0.25, 4.0])
def test_it_looks_by_the_clock_on_the_wall_too(folder: Path, pace: float | None) -> None:
    """A clock that runs fast: it looks more often than a hundred times in a simulated second.

    With a pace the clock stands still in between, and each look is at its cycle: pace by pace.
    """
    now = [0.0]

    def clock() -> float:
        now[0] += 0.02 if pace is None else 0.0
        return now[0]

    class Waiting(Script):
        def typed(self, wait: float) -> bytes:
            now[0] += wait
            return super().typed(0) if not wait else b""

    far = Waiting({40: None})
    bench = Bench(sleeper(folder), folder=folder, name="sleeper")
    recording = bench.run("llvm", live=Live("telegraph", far, pace, clock))
    seconds = (recording.cycles - 1) / CLOCK
    if pace is None:
        assert seconds < 40 / LOOKS
    else:
        assert seconds == 40 / LOOKS * min(1, pace)
        assert now[0] == pytest.approx(
            39 / 40 * seconds / pace
        )  # the last look ends the run at once
