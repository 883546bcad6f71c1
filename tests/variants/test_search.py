"""The smallest and the largest value for which conditions hold: found by halving, or by a walk."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.variants.axes import Axis, parse_range
from busbox.variants.search import SearchResult, search
from tests.variants.small import write_bench


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """Return the small bench."""
    return write_bench(tmp_path)


def found(bench: Bench, key: str, text: str, *such_that: str, **how: Any) -> list[SearchResult]:
    """Search on the engine python."""
    within = parse_range(text, "--range", stepped=False)
    assert within is not None
    return search(bench, key, within, such_that, engine="python", **how)


def drawn(answers: list[bool]) -> Bench:
    """Return a bench that has as many accesses as its settle time has an answer: one or two."""

    def drive(bus: Any) -> None:
        bus.write("levers.OUT", 1)

    keys = {
        "clock": "1 MHz",
        "slot": {"levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}},
        "traffic": drive,
    }
    bench = Bench(keys)

    class Drawn(Bench):
        """A bench whose settle time chooses the answer."""

        def run(self, *args: Any, **more: Any) -> Any:
            fine = answers[self.keys.get("settle", 1) - 1]
            other = Bench({**self.keys, "traffic": drive if fine else lambda bus: None})
            return other.run("python", carried=False)

    bench.__class__ = Drawn
    return bench


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=40)
@given(st.lists(st.booleans(), min_size=1, max_size=30), st.booleans())
def test_a_search_finds_what_a_walk_finds(answers: list[bool], largest: bool) -> None:
    """If every value is tried, the result is that of a naive walk; if not, it is where it changes."""
    (one,) = found(drawn(answers), "settle", f"1..{len(answers)}", "accesses == 1", largest=largest)
    holding = [place + 1 for place, answer in enumerate(answers) if answer]
    naive = (max(holding) if largest else min(holding)) if holding else None
    ordered = answers[::-1] if largest else answers
    if one.walked or ordered == sorted(ordered):
        assert (one.best.value if one.best else None) == naive
    elif one.best is not None and one.neighbour is not None:
        assert answers[one.best.value - 1]
        assert not answers[one.neighbour.value - 1]
        assert abs(one.best.value - one.neighbour.value) == 1
    for tried in one.tried:
        assert tried.holds == answers[tried.value - 1]


@settings(suppress_health_check=[HealthCheck.too_slow], deadline=None, max_examples=25)
@given(st.integers(0, 60), st.integers(1, 60), st.booleans())
def test_a_single_change_is_found_by_halving(lows: int, highs: int, largest: bool) -> None:
    """Where the answer changes once, few values are tried, and the search says so."""
    answers = [False] * lows + [True] * highs
    if largest:
        answers.reverse()
    (one,) = found(drawn(answers), "settle", f"1..{len(answers)}", "accesses == 1", largest=largest)
    assert one.best is not None
    assert one.best.value == (highs if largest else lows + 1)
    if len(answers) > 9:
        assert not one.walked
        assert len(one.tried) <= 9 + 6
        assert ("the range was halved" if lows else "the answer never changes") in one.how
    else:
        assert one.walked


def test_the_evidence_names_what_failed(bench: Bench) -> None:
    """The value beside the answer, the condition that it breaks, and what was seen."""
    (one,) = found(bench, "clock", "10MHz..20MHz", "no finding byte-lost", "profile P4 kept")
    assert one.best is not None
    assert one.neighbour is not None
    assert (one.neighbour.broken, one.neighbour.seen) == ("profile P4 kept", "not kept by string")
    rows = {
        clock: bench.with_values({"clock": clock})
        .run("python")
        .seen["string"]
        .facts["profiles"]["P4"]
        for clock in (one.best.value, one.neighbour.value)
    }
    assert [row["passes"] for row in rows.values()] == [True, False]


def test_no_value_may_hold_and_all_may(bench: Bench) -> None:
    """Without a value that holds there is none; at the end of the range there is no neighbour."""
    (none,) = found(bench, "slot.levers.wait", "0..3", "duration < 1 us")
    assert none.best is None
    assert all("duration is" in one.seen for one in none.tried)
    (every,) = found(bench, "slot.levers.wait", "0..3", "cycles > 1", largest=True)
    assert every.best is not None
    assert (every.best.value, every.neighbour) == (3, None)


def test_other_keys_are_searched_one_by_one(bench: Bench) -> None:
    """A search for each value of another key."""
    results = found(
        bench, "slot.lamps.wait", "0..4", "texts equal", others=[Axis("clock", ("16 MHz", "8 MHz"))]
    )
    assert [dict(one.others) for one in results] == [{"clock": "16 MHz"}, {"clock": "8 MHz"}]
    clocks = [Axis("clock", ("16 MHz", "8 MHz"))]
    results = found(bench, "slot.lamps.wait", "0..1", "profile P4 kept", others=clocks)
    assert [one.best is not None for one in results] == [True, False]


def test_a_value_that_cannot_be_run_does_not_hold(bench: Bench) -> None:
    """The message of the bench is the evidence."""
    (one,) = found(bench, "slot.levers.wait", "65534..65537", "cycles > 1", largest=True)
    assert one.best is not None
    assert one.best.value == 65_535
    assert one.neighbour is not None
    assert one.neighbour.broken == "it can be run"
    assert "must be" in one.neighbour.seen


@pytest.mark.parametrize(
    ("key", "text", "condition", "message"),
    [
        ("slot.lever.wait", "0..3", "no finding", "there is no slot 'lever'"),
        ("slot.levers.wait", "0..3", "no findings", "is no condition: 'no findings'; did you mean"),
        (
            "slot.levers.wait",
            "0..3",
            "no finding byte-lst",
            "there is no rule 'byte-lst'; did you mean",
        ),
        ("slot.levers.wait", "0..3", "profile P9 kept", "P9"),
        ("slot.levers.wait", "0..3", "profile P4 kept by strng", "there is no lamp string 'strng'"),
        ("slot.levers.wait", "0..3", "duration < 3", "compared with a time such as 20 ms, not '3'"),
        ("slot.levers.wait", "0..3", "cycles < 3 ms", "compared with a number without a unit"),
        ("slot.levers.wait", "0..3", "ended < done", "ended < needs a number, not 'done'"),
        ("slot.levers.wait", "0..3", "length < 3", "there is no measure 'length'"),
    ],
)
def test_a_mistake_is_told_before_anything_runs(
    bench: Bench, key: str, text: str, condition: str, message: str
) -> None:
    """Keys and conditions that cannot be are refused by name."""
    with pytest.raises(InputError) as caught:
        found(bench, key, text, condition)
    assert message in str(caught.value)


def test_frames_a_second_are_counted_from_first_to_last(bench: Bench) -> None:
    """Two frames give one interval: the rate and the interval are each other's inverse."""
    recording = bench.run("python")
    starts = [frame.cycle for frame in recording.seen["string"].frames or ()]
    seconds = (starts[1] - starts[0]) / 16_000_000
    (one,) = found(bench, "slot.levers.wait", "1..1", f"frame_interval.string == {seconds:.9f} s")
    assert one.best is not None


def test_keys_of_other_axes_are_checked_first(bench: Bench) -> None:
    """A key that no bench has, or the key that is searched for, is refused."""
    for axis, message in {
        Axis("slot.lever.wait", (1,)): "--vary: slot.lever: there is no slot 'lever'",
        Axis("slot.levers.wait", (1,)): "--vary: slot.levers.wait is what is searched for",
    }.items():
        with pytest.raises(InputError) as caught:
            found(bench, "slot.levers.wait", "0..3", "no finding", others=[axis])
        assert str(caught.value).startswith(message.partition(":")[0])
        assert message.rpartition(": ")[2] in str(caught.value)


def test_a_range_without_an_end_is_refused(bench: Bench) -> None:
    """More than a million values need a step."""
    with pytest.raises(InputError, match="must have at most 1,000,000 values; give a step"):
        found(bench, "slot.levers.wait", "0..1000000", "no finding")


def test_what_raises_with_a_value_does_not_hold() -> None:
    """A model or function that raises with a value: it is told as what was seen."""
    bench = drawn([True] * 3)

    class Raising(type(bench)):  # type: ignore[misc]
        """A bench that raises with a settle time of 2."""

        def run(self, *args: Any, **more: Any) -> Any:
            if self.keys.get("settle") == 2:
                raise OverflowError("too late")
            return super().run(*args, **more)

    bench.__class__ = Raising
    (one,) = found(bench, "settle", "1..3", "accesses == 1", largest=True)
    assert [tried.holds for tried in one.tried] == [True, False, True]
    assert one.tried[1].seen.startswith(
        "raised OverflowError: too late (tests/variants/test_search.py:"
    )


def test_an_answer_that_never_changes_is_called_so() -> None:
    """Nine values of a long range that all hold: it is said that the rest was not tried."""
    (one,) = found(drawn([True] * 30), "settle", "1..30", "accesses == 1")
    assert not one.walked
    assert one.how == (
        "9 of 30 values were tried: along these the answer never changes; values that were not "
        "tried are taken to follow."
    )
    assert one.best is not None


def test_a_walk_is_one_where_it_is_asked_for() -> None:
    """With walk, a value between the nine is found that halving does not see."""
    answers = [False] * 29 + [True]
    answers[5] = True
    (one,) = found(drawn(answers), "settle", "1..30", "accesses == 1")
    assert one.best is not None
    assert one.best.value != 6
    (one,) = found(drawn(answers), "settle", "1..30", "accesses == 1", walk=True)
    assert one.best is not None
    assert (one.best.value, len(one.tried)) == (6, 30)
    assert one.how == "All 30 values were tried."
    assert one.neighbour is not None
    assert (one.neighbour.value, one.neighbour.broken) == (5, "accesses == 1")
    assert one.neighbour.seen == "accesses is 0"


def test_answers_that_change_twice_are_walked() -> None:
    """If the nine values change back, every value is tried."""
    answers = [10 <= number < 20 for number in range(30)]
    (one,) = found(drawn(answers), "settle", "1..30", "accesses == 1")
    assert one.walked
    assert one.best is not None
    assert (one.best.value, len(one.tried)) == (11, 30)


def test_how_many_lamps_at_50_frames_a_second(tmp_path: Path) -> None:
    """By hand: 24 bits of 20 cycles a lamp and a gap of 960 fit into 320,000 cycles 664 times."""
    assert (16_000_000 // 50 - 960) // (24 * 20) == 664
    (tmp_path / "go.steps").write_text(
        "write lamps.CONTROL 3\npause 50 ms\nwrite lamps.CONTROL 0\n", encoding="utf-8"
    )
    bench = Bench(
        {
            "clock": "16 MHz",
            "slot": {"lamps": {"model": "pulse_led", "base": 0, "size": 0x4000, "lamps": 1000,
                               "count": 12, "high": 0x000D0007, "period": 0x03C00014}},
            "attach": {"string": {"kind": "lamp_string", "pin": "lamps.line", "count": 1000}},
            "traffic": {"file": "go.steps"},
        },
        folder=tmp_path,
    )  # fmt: skip
    (one,) = found(
        bench, "slot.lamps.count", "600..700", "frames_per_second.string >= 50", largest=True
    )
    assert one.best is not None
    assert one.best.value == 664


def test_that_no_value_holds_is_known_of_all(tmp_path: Path) -> None:
    """A single value between those that are tried first is found: that none holds is never taken."""
    answers = [False] * 40
    answers[3] = True
    (one,) = found(drawn(answers), "settle", "1..40", "accesses == 1")
    assert one.best is not None
    assert one.best.value == 4
    (none,) = found(drawn([False] * 40), "settle", "1..40", "accesses == 1")
    assert none.best is None
    assert (none.walked, len(none.tried)) == (True, 40)
