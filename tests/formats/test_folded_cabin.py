"""The recorded firmware of the signal cabin, folded: against its recording, and its ELF executed."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from busbox import Recording, load_bench
from busbox.bench.find import packaged_benches
from busbox.cpu.steps import Poll, Step, Until
from busbox.findings.expectations import frames_of, text_of
from busbox.formats.files import read_traffic
from busbox.formats.folding import Folded, fold

pytestmark = pytest.mark.quick

SLOTS = ("levers", "telegraph", "lamps", "clock")
LINES = ("cabin open", "train 1", "train 2", "train 3", "cabin shut")


@cache
def folded() -> Folded:
    """Return the recording, folded."""
    bench = packaged_benches()["signal_cabin_recorded"]
    return fold(read_traffic(bench.parent / "signal_cabin.csv.gz", None))


def run(bench: str, clock: int, wait: int, traffic: list[Step] | None = None) -> Recording:
    """Return a run with another clock, in MHz, and other wait states."""
    values = [f"clock={clock} MHz", *(f"slot.{slot}.wait={wait}" for slot in SLOTS)]
    return load_bench(bench).with_values(values).run("llvm", traffic=traffic)


def test_what_is_folded() -> None:
    """838 steps are left of 58,479: 133 polls and 36 untils, by the firmware's own conditions."""
    steps, notes = folded().steps, folded().notes
    assert len(steps) == 838
    assert sum(isinstance(step, Poll) and not isinstance(step, Until) for step in steps) == 133
    assert sum(isinstance(step, Until) for step in steps) == 36
    # signal_cabin.c: STATUS & 1, LED_STATUS & 1, IN & 0x10, and wait_cycles(2000).
    seen = {note.loop.key[2]: (note.condition, len(note.loop.runs), note.at_once) for note in notes}
    assert seen == {
        0xDC: ("& 0x1 == 0x1", 91, 13),
        0xB8: ("& 0x1 == 0x0", 38, 0),
        0x1B0: ("& 0x10 == 0x10", 1, 0),
        0x1FC: ("- from_1 >= 2,000", 36, 0),
        0x238: ("& 0x1 == 0x1", 3, 0),
    }
    assert {note.loop.period for note in notes} == {12}


def test_the_recorded_timing_gives_the_recorded_accesses() -> None:
    """Under the timing of the recording, every access is that of the recording, to the cycle."""
    bench = load_bench("signal_cabin_recorded")
    recorded, seen = bench.run("llvm"), bench.run("llvm", traffic=list(folded().steps))
    for name in ("start", "end", "address", "write", "lanes", "data", "terminator", "pc"):
        assert np.array_equal(seen.accesses[name], recorded.accesses[name]), name
    assert seen.counts == recorded.counts == {}
    assert (seen.cycles, seen.ended) == (recorded.cycles, recorded.ended)


def test_unfolded_it_loses_bytes_without_wait_states() -> None:
    """The recording itself loses 8 bytes at wait 0; folded, it loses none."""
    lost = run("signal_cabin_recorded", 16, 0).counts["byte-lost"]
    assert lost == {"telegraph.DATA": 8}
    assert "byte-lost" not in run("signal_cabin_recorded", 16, 0, list(folded().steps)).counts


def certain_until(recording: Recording) -> int:
    """Return the cycle in which the first read ends that differs from its recorded word."""
    accesses: Any = recording.accesses
    compared = ~accesses.write & (accesses.expected >= 0)
    differs = np.flatnonzero(compared & (accesses.expected != accesses.data))
    return int(accesses.end[differs[0]]) if len(differs) else recording.cycles


@pytest.mark.parametrize(
    ("clock", "wait"),
    [
        pytest.param(clock, wait, marks=() if (clock, wait) in ((16, 0), (24, 1)) else _long)
        for _long in (pytest.mark.long,)
        for clock in (8, 12, 16, 24, 48)
        for wait in range(5)
    ],
)
def test_folded_is_what_its_firmware_does(clock: int, wait: int) -> None:
    """With another clock or wait states, folded traffic does what the ELF does when executed.

    All accesses are the same up to the first read whose word differs, and that read is clock.NOW,
    which the firmware prints: so only digits differ afterwards. Frames and profiles are all the same.
    """
    seen = run("signal_cabin_recorded", clock, wait, list(folded().steps))
    executed = run("signal_cabin", clock, wait)
    until = certain_until(seen)
    assert (until == seen.cycles) == ((clock, wait) == (16, 1))
    slots = executed.accesses.slot >= 0
    for name in ("start", "end", "address", "write", "lanes", "data"):
        theirs = executed.accesses[name][slots]
        count = int((executed.accesses.end[slots] <= until).sum())
        assert np.array_equal(seen.accesses[name][:count], theirs[:count]), name
    assert frames_of(seen, "string") == frames_of(executed, "string")
    profiles = [one.seen["string"].facts["profiles"] for one in (seen, executed)]
    assert profiles[0] == profiles[1]
    text, theirs = text_of(seen, "paper"), text_of(executed, "paper")
    assert [line[:7] for line in text.splitlines()] == [line[:7] for line in theirs.splitlines()]
    assert len(text) == len(theirs)
    assert "byte-lost" not in seen.counts
    lines = text.splitlines()
    assert len(lines) == len(LINES)
    assert all(line.startswith(start) for line, start in zip(lines, LINES, strict=True))
