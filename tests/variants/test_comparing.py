"""Two runs compared: what is told, and that nothing is left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

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


def test_a_slot_at_another_base_is_the_same_place(bench: Bench) -> None:
    """Registers are compared by slot and offset: moved with its traffic, a slot does the same."""
    found = compare(run(bench), run(bench, "slot.lamps.base=0x55000000", "traffic.move=true"))
    assert found.verdict == "equal in all that is compared"
    stays = compare(run(bench), run(bench, "slot.lamps.base=0x55000000"))
    text = next(e.text for e in stays.differences if "first difference" in e.text)
    assert "write of 0x400000 to lamps + 0x100" in text
    assert "0x44000100 (ended with error)" in text


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


def texts(one: Recording, other: Recording, part: str) -> list[str]:
    """Return what is told of a part."""
    return [entry.text for entry in compare(one, other).differences if entry.part == part]


CHANGES = (
    ("write levers.OUT 1", "write levers.OUT 3"),
    ("0x67", "0x68"),
    ("pause 20 us", "pause 40 us"),
    ("0x400000", "0x410000"),
    ("write lamps.CONTROL 1\nread", "read"),
    ("read levers.OUT = 1", "read levers.OUT = 0"),
    ("0x000d0007", "0x000d0003"),
)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Bench, dict[int, Recording]]:
    """Return the small bench, and its runs by which of the changes are made."""
    return write_bench(tmp_path_factory.mktemp("vtests_compared")), {}


def changed(kept: tuple[Bench, dict[int, Recording]], which: int) -> Recording:
    """Return the run with some of the changes, as bits of a number."""
    bench, runs = kept
    if which not in runs:
        text = STEPS
        for number, (old, new) in enumerate(CHANGES):
            text = text.replace(old, new, 1) if which >> number & 1 else text
        (bench.folder / "evening.steps").write_text(text, encoding="utf-8")
        runs[which] = run(bench, *(["clock=8 MHz"] if which >> len(CHANGES) & 1 else []))
    return runs[which]


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=40)
@given(st.integers(0, 2 ** (len(CHANGES) + 1) - 1), st.integers(0, 2 ** (len(CHANGES) + 1) - 1))
def test_what_differs_does_so_the_other_way_round(
    kept: tuple[Bench, dict[int, Recording]], one: int, other: int
) -> None:
    """The same parts, and in them the same pins, texts, frames and rules; only one run is equal."""
    runs = changed(kept, one), changed(kept, other)
    found, back = compare(*runs), compare(*reversed(runs))
    assert [(e.part, e.of) for e in found.differences] == [(e.part, e.of) for e in back.differences]
    assert found.same == back.same
    assert {entry.part for entry in found.differences} == set(PARTS) - set(found.same)
    assert (found.verdict == "equal in all that is compared") == (not found.differences)
    assert bool(found.differences) == (one != other)
    assert found.verdict
    assert found.verdict not in ("same bytes", "same bytes, same colours")


def test_a_saved_run_is_equal_to_itself(bench: Bench, tmp_path: Path) -> None:
    """Nothing is lost that is compared."""
    one = run(bench)
    one.save(tmp_path / "kept.recording.npz")
    assert compare(one, Recording.load(tmp_path / "kept.recording.npz")).differences == ()


def _times(bus: Any) -> None:
    bus.write("levers.OUT", 1)
    bus.pause(10)
    bus.write("levers.OUT", 0)


def _later(bus: Any) -> None:
    bus.write("levers.OUT", 1)
    bus.pause(20)
    bus.write("levers.OUT", 0)


def lever(traffic: Any, **keys: Any) -> Recording:
    """Return the run of a bench with nothing but a slot of levers."""
    slots = {"levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}}
    return Bench({"clock": "1 MHz", "slot": slots, "traffic": traffic, **keys}).run("python")


def test_a_verdict_without_bytes_and_lamps_says_something() -> None:
    """If nothing else differs, the verdict is the first difference: here the time."""
    found = compare(lever(_times), lever(_later))
    assert found.verdict.endswith("10 us later")
    assert {entry.part for entry in found.differences} == {"end", "pins"}
    assert any(": the same levels; edge 2 10 us later in B" in e.text for e in found.differences)


def test_an_end_of_another_kind_is_told() -> None:
    """How the run ended, and when."""
    slots = {"levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}}
    bench = Bench({"clock": "1 MHz", "slot": slots, "traffic": _times})
    found = texts(bench.run("python"), bench.run("python", until=5), "end")
    assert found[0] == "A ended with done, B with until"
    assert "earlier" in found[1]


def test_pins_that_one_run_has_are_told(bench: Bench) -> None:
    """Another slot has other pins."""
    only = [text for text in texts(lever(_times), run(bench), "pins") if text.startswith("only")]
    assert "only B has the pin lamps.line" in only
    assert not any("levers.out.0" in text for text in only)


def without(bench: Bench, *left_out: str) -> Recording:
    """Run the small bench without some of its tables."""
    keys = {key: value for key, value in bench.keys.items() if key not in left_out}
    return Bench(keys, folder=bench.folder).run("python")


def test_frames_that_one_run_shows_are_told(bench: Bench) -> None:
    """A lamp string that is not there is no equality."""
    one, bare = run(bench), without(bench, "attach")
    assert texts(one, bare, "frames") == ["only A shows frames of string"]
    assert texts(bare, one, "frames") == ["only B shows frames of string"]
    assert "other colours" in compare(one, bare).verdict
    assert parts(one, bare) == {"frames"}


def test_expectations_that_one_run_has_are_told(bench: Bench) -> None:
    """An expectation of one side alone, and one that is met in one."""
    one, bare = run(bench), without(bench, "expect")
    assert texts(one, bare, "expectations") == ["text of telegraph is 'go': only A expects it"]
    assert parts(one, bare) == {"expectations"}
    other = with_steps(bench, "0x67", "0x68")
    found = texts(one, other, "expectations")
    assert found == ["text of telegraph is 'go': met ('go') in A, not met ('ho') in B"]


def test_a_profile_that_one_run_is_judged_by_is_told(bench: Bench) -> None:
    """Another profile of the string."""
    found = texts(run(bench), run(bench, "attach.string.profile=P1"), "frames")
    assert found[-2:] == [
        "profile P4 of string is judged in A only",
        "profile P1 of string is judged in B only",
    ]


def test_a_profile_is_kept_or_no_longer(bench: Bench) -> None:
    """The direction is that from A to B."""
    one, other = run(bench), with_steps(bench, "0x000d0007", "0x000d0003")
    assert texts(one, other, "frames")[-1] == "profile P4 of string is no longer kept"
    assert texts(other, one, "frames")[-1] == "profile P4 of string is now kept"


def with_counts(recording: Recording, counts: Mapping[str, Mapping[str, int]]) -> Recording:
    """Return a recording with other counts of findings."""
    return replace(recording, counts=counts)


def test_findings_at_other_places_are_told(bench: Bench) -> None:
    """As many findings of a rule, but of another slot."""
    one = with_counts(run(bench), {"byte-lost": {"telegraph.DATA": 2}})
    other = with_counts(run(bench), {"byte-lost": {"second.DATA": 1, "third.DATA": 1}})
    assert texts(one, other, "findings") == [
        "byte-lost: at telegraph.DATA (2 times) in A, at second.DATA (1 time), third.DATA (1 time) in B"
    ]
    assert compare(one, other).verdict == "same bytes, same colours; other findings: byte-lost"


def test_what_goes_on_is_told(bench: Bench) -> None:
    """If all accesses of one run are the first of the other."""
    one, other = run(bench), with_steps(bench, "read levers.OUT = 1\n", "")
    assert texts(one, other, "accesses")[0] == f"B has 1 access fewer ({one_more(one)})"
    assert texts(one, other, "accesses")[1].startswith("A goes on with access ")
    assert "read of levers + 0x0 gave 0x1" in texts(other, one, "accesses")[1]


def one_more(recording: Recording) -> str:
    """Return the number of its accesses, and one less."""
    return f"{len(recording.accesses)} and {len(recording.accesses) - 1}"


def test_the_last_word_of_a_poll_counts(bench: Bench) -> None:
    """A read that gives another word in the end is a difference, however often it was made."""
    one = with_steps(bench, "read levers.OUT = 1", "read telegraph.DIVISOR")
    (bench.folder / "evening.steps").write_text(
        STEPS.replace("read levers.OUT = 1", "read telegraph.DIVISOR"), encoding="utf-8"
    )
    found = texts(one, run(bench, "slot.telegraph.divisor=20"), "accesses")
    assert any("gave 0x10" in text and "gave 0x14" in text for text in found)


def test_what_is_certain_is_told_in_time(bench: Bench) -> None:
    """The side that is not certain to the end, and the other one."""
    one, other = run(bench), with_steps(bench, "levers.OUT = 1", "levers.OUT = 0")
    (text,) = texts(one, other, "certain")
    assert text.startswith("A is certain throughout")
    assert "B is certain until" in text
    assert compare(one, other).verdict.endswith("not certain to the end")
