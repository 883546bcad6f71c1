"""What happened in a run, in words."""

from __future__ import annotations

import dataclasses

import pytest

from busbox import Bench, Recording
from busbox.report.happened import LETTERS, MARKS, happened
from busbox.report.page import run_page

pytestmark = pytest.mark.quick

BENCHES = ("first_light", "interrupted", "night_watch", "mistakes/lamp_zeros", "mistakes/addresses")


def _run(bench: str) -> Recording:
    return Bench.load(bench).run("python")


@pytest.mark.parametrize("bench", BENCHES)
def test_reads_and_writes_are_those_of_the_recording(bench: str) -> None:
    """Every slot has a line with its reads and writes, counted here access by access."""
    run = _run(bench)
    said = dict(happened(run))
    for number, slot in enumerate(run.slots):
        writes = [bool(one) for one, at in zip(run.accesses.write, run.accesses.slot, strict=True)
                  if at == number]  # fmt: skip
        reads, written = writes.count(False), writes.count(True)
        expected = f"{reads:,} read{'' if reads == 1 else 's'} and {written:,} write"
        assert said[slot.name].startswith(expected if writes else "Not accessed.")
    nowhere = sum(at < 0 for at in run.accesses.slot.tolist())
    assert ("no slot" in said) == bool(nowhere)


def test_texts_frames_and_pins_are_named() -> None:
    """What was sent, what attachments understood, and which pins moved."""
    said = dict(happened(_run("first_light")))
    assert said["telegraph"].endswith("It sent \u201cline free\u201d. Pin that moved: tx.")
    assert said["levers"].endswith("Pins that moved: out.0, in.4.")
    assert "It sent 1 frame to its lamps." in said["lamps"]
    assert said["string"] == "The lamps on lamps.line show 1 frame, all as sent."
    assert said["paper"] == "It read \u201cline free\u201d on telegraph.tx."
    wrong = dict(happened(_run("mistakes/lamp_zeros")))
    assert wrong["string"] == "The lamps on lamps.line show 1 frame, not all as sent."


def test_long_lists_are_cut_and_say_so() -> None:
    """Marks and texts beyond the limits are counted, not dropped in silence."""
    run = _run("first_light")
    marks = tuple((number, f"mark {number}") for number in range(MARKS + 2))
    text = run.characters["telegraph"]
    long = dataclasses.replace(text, bytes=text.bytes.repeat(60), cycles=text.cycles.repeat(60),
                               accesses=text.accesses.repeat(60))  # fmt: skip
    said = dict(happened(dataclasses.replace(run, marks=marks, characters={"telegraph": long})))
    assert said["marks"].endswith("; and 2 more marks.")
    assert f"and {10 * 60 - LETTERS:,} more characters" in said["telegraph"]


def test_a_run_without_an_access_says_so() -> None:
    """Nothing looks like success only because nothing was done."""
    bench = Bench({"clock": "1 MHz", "traffic": lambda bus: None,
                   "slot": {"levers": {"model": "gpio", "base": 0x1000, "size": 0x1000}}})  # fmt: skip
    page = run_page(bench.system(), bench.run("python"))
    assert "The bus was not used: the traffic has no access." in page
    assert "Not accessed." in page
