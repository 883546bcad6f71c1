"""Two runs compared: what is told, and that nothing is left out."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox import Recording
from busbox.bench.bench import Bench
from busbox.variants.comparing import PARTS, compare
from tests.variants.small import STEPS, run, write_bench


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """Return the small bench."""
    return write_bench(tmp_path)


def parts(one: Recording, other: Recording, harmless: bool = False) -> set[str]:
    """Return the parts that differ; they are the same the other way round."""
    found = {entry.part for entry in compare(one, other, harmless=harmless).differences}
    back = {entry.part for entry in compare(other, one, harmless=harmless).differences}
    assert found == back
    return found


def with_steps(bench: Bench, old: str, new: str, *values: str) -> Recording:
    """Run the small bench with one of its steps changed."""
    assert old in STEPS
    text = STEPS.replace(old, new, 1)
    (bench.folder / "evening.steps").write_text(text, encoding="utf-8")
    return run(bench, *values)


@pytest.mark.quick
def test_a_run_is_equal_to_itself(bench: Bench) -> None:
    """Nothing differs, and all parts are said to be equal."""
    found = compare(run(bench), run(bench))
    assert found.verdict == "equal in all that is compared"
    assert (found.differences, found.same) == ((), PARTS)


@pytest.mark.parametrize(
    ("old", "new", "expected", "text"),
    [
        ("0x67", "0x47", {"accesses", "pins", "texts", "expectations"}, "'Go' in B"),
        ("pause 20 us", "pause 30 us", {"end", "pins"}, "10 us later"),
        ("0x400000", "0x410000", {"accesses", "pins", "frames"}, "frame 0 of string shows"),
        ("levers.OUT = 1", "levers.OUT = 0", {"findings", "certain"}, "read-differs: 0 times in A"),
        ("write levers.OUT 1", "write levers.OUT 3", {"accesses", "pins", "findings", "certain"},
         "levers.out.1: 0 edges in A, 1 in B"),
        ("pause 20 us\nwrite lamps.CONTROL 1\n", "", {"end", "accesses", "pins", "frames"},
         "string shows 2 frames in A, 1 in B"),
        ("0x000d0007", "0x000d0003", {"accesses", "pins", "frames", "findings"},
         "profile P4 of string is no longer kept"),
    ],
)  # fmt: skip
def test_what_a_change_alters_is_told(
    bench: Bench, old: str, new: str, expected: set[str], text: str
) -> None:
    """Each change of a step shows in the parts that it alters, and only there."""
    base = run(bench)
    other = with_steps(bench, old, new)
    found = compare(base, other)
    assert parts(base, other) >= expected
    assert any(text in entry.text for entry in found.differences), found.differences


def test_a_poll_that_reads_more_often_is_one_stretch(bench: Bench) -> None:
    """Reads of a loop are aligned: with another divisor the bus differs in the number alone."""
    base, other = run(bench), run(bench, "slot.telegraph.divisor=20")
    found = [entry.text for entry in compare(base, other).differences if entry.part == "accesses"]
    (more,) = found
    assert "more (" in more


def test_the_first_difference_on_the_bus_names_both_sides(bench: Bench) -> None:
    """Access, time, register and word of each run."""
    base = run(bench)
    other = with_steps(bench, "write levers.OUT 1\n", "mark dusk\nwrite levers.OUT 2\n")
    text = next(e.text for e in compare(base, other).differences if "first difference" in e.text)
    assert "access 0 at 62.5 ns, write of 0x1 to levers + 0x0" in text
    assert "write of 0x2 to levers + 0x0" in text


def test_digits_may_be_harmless(bench: Bench) -> None:
    """Where digits come from harmless reads, texts that differ in them alone are equal."""
    base = with_steps(bench, "0x67", "0x31")
    other = with_steps(bench, "0x67", "0x32")
    assert "texts" in parts(base, other)
    assert "texts" not in parts(base, other, harmless=True)
    digits = next(e for e in compare(base, other).differences if e.part == "texts")
    assert "differs in its digits only" in digits.text
    assert "same bytes but for digits" in compare(base, other, harmless=True).verdict


def test_the_verdict_comes_in_one_line(bench: Bench) -> None:
    """Bytes, colours, accesses, times, profiles, findings."""
    verdict = compare(run(bench), run(bench, "clock=8 MHz")).verdict
    assert verdict.startswith("same bytes, other colours; ")
    assert "later" in verdict
    assert "profile P4 of string is no longer kept" in verdict
    assert "other findings: " in verdict
