"""Conditions on a run: each form holds or does not, and says what was seen."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox import Recording
from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.variants.conditions import condition_of, first_broken
from busbox.variants.measures import Base, Measured
from tests.variants.small import STEPS, run, write_bench


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """Return the small bench."""
    return write_bench(tmp_path)


def checked(
    bench: Bench, text: str, run_of: Recording, base: Recording | None = None
) -> tuple[bool, str]:
    """Return whether a condition holds for a run, and what was seen."""
    condition = condition_of(text, bench.system(), bench.folder)
    return condition.check(Measured(run_of, Base.of(base or run_of)))


def with_steps(bench: Bench, old: str, new: str) -> Recording:
    """Run the small bench with one of its steps changed."""
    assert old in STEPS
    (bench.folder / "evening.steps").write_text(STEPS.replace(old, new, 1), encoding="utf-8")
    return run(bench)


@pytest.mark.parametrize(
    ("condition", "holds"),
    [
        ("no finding", True),
        ("expectations met", True),
        ("texts equal", True),
        ("colours equal", True),
        ("certain", True),
        ("ended == done", True),
        ("ended != done", False),
        ("texts == equal", True),
        ("kept.string.P4 == yes", True),
        ("registers.lamps.COUNT == 2", True),
        ("registers.lamps.COUNT != 2", False),
        ("registers.lamps.COUNT >= 3", False),
        ("margin.string.P4 > 0", True),
        ("frames == 2", True),
        ("frame_interval.string <= 20 ms", True),
        ("frames_per_second.string >= 50", True),
        ("frames_per_second.string >= 1000000", False),
        ("counts.byte-lost == 0", True),
        ("certain_until < 1 ms", False),
        ("certain_until == nothing", True),
        ("profile P4 kept by string", True),
        ("no finding byte-lost", True),
        ("cycles==4368", True),
        ("cycles<4368", False),
        ("cycles>4367", True),
        ("cycles != 4_368", False),
        ("duration <= 273 us", True),
        ("duration < 273us", False),
        ("duration >= 0.273 ms", True),
        ("margin.string.P4 >= -3", True),
        ("margin.string.P4 < -3", False),
        ("margin.string.P4 > -200", True),
        ("registers.lamps.COUNT == 0x2", True),
        ("checks.py:edges == 192", True),
        ("colours == yes", True),
        ("colours == no", False),
    ],
)
def test_conditions_hold_or_not(bench: Bench, condition: str, holds: bool) -> None:
    """Each form of a condition, on the small bench as it stands."""
    found, seen = checked(bench, condition, run(bench))
    assert found == holds, seen


@pytest.mark.parametrize(
    ("old", "new", "condition", "seen"),
    [
        ("0x000d0007", "0x000d0003", "profile P4 kept", "not kept by string"),
        ("0x000d0007", "0x000d0003", "no finding pulse-width", "pulse-width "),
        ("0x67", "0x68", "texts equal", "telegraph differs"),
        ("0x67", "0x68", "expectations met",
         "not met: text of telegraph is 'go'; seen: 'ho'"),
        ("0x400000", "0x400001", "colours equal", "string differs"),
        ("levers.OUT = 1", "levers.OUT = 0", "certain", "certain until "),
        ("levers.OUT = 1", "levers.OUT = 0", "no finding", "read-differs 1"),
        ("pause 20 us", "pause 30 us", "duration <= 273 us", "duration is 283 us"),
        ("0x67", "0x68", "ended == hang", "ended is done"),
        ("0x67", "0x68", "colours == 3", "colours is yes"),
        ("0x67", "0x68", "certain_until > 1 us", "certain_until is nothing"),
        ("COUNT 2", "COUNT 1", "registers.lamps.COUNT == 2", "registers.lamps.COUNT is 1"),
    ],
)  # fmt: skip
def test_a_condition_that_does_not_hold_says_what_was_seen(
    bench: Bench, old: str, new: str, condition: str, seen: str
) -> None:
    """The evidence of each form, against the bench as it stands."""
    base = run(bench)
    holds, shown = checked(bench, condition, with_steps(bench, old, new), base)
    assert not holds
    assert shown.startswith(seen)


def test_another_finding_breaks_no_condition_on_one(bench: Bench) -> None:
    """Only the findings of the rule count."""
    other = with_steps(bench, "levers.OUT = 1", "levers.OUT = 0")
    assert checked(bench, "no finding byte-lost", other)[0]
    assert not checked(bench, "no finding read-differs", other)[0]


def test_what_the_base_alone_has_is_no_equality(bench: Bench) -> None:
    """A text or a string that is missing is not equal, and is named."""
    one = run(bench)
    keys = {key: value for key, value in bench.keys.items() if key not in ("attach", "expect")}
    bare = Bench(keys, folder=bench.folder).run("python")
    assert bare.seen == {}
    assert checked(bench, "colours equal", bare, one) == (False, "string differs")
    assert checked(bench, "colours equal", one, bare) == (False, "string differs")


def test_the_first_condition_that_breaks_is_told(bench: Bench) -> None:
    """In the order in which they are given."""
    one = run(bench)
    texts = ("certain", "cycles < 5", "cycles < 4")
    conditions = tuple(condition_of(text, bench.system(), bench.folder) for text in texts)
    assert first_broken(conditions, one, Base.of(one)) == ("cycles < 5", "cycles is 4368")
    assert first_broken(conditions[:1], one, Base.of(one)) is None


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is no condition: ''"),
        ("certainly", "is no condition: 'certainly'; did you mean 'certain'?"),
        ("profile P4 is kept", "is no condition"),
        ("profile P4 lost", "is no condition"),
        ("profile P4 lost by string", "is no condition"),
        ("profile P4 kept with string", "there is no lamp string"),
        ("no finding byte-lost twice", "is no condition"),
        ("duration == soon", "duration is compared with a time such as 20 ms, not 'soon'"),
        ("cycles == many", "cycles is compared with a number, not 'many'"),
        ("duration < 20 mA", "a time such as 20 ms"),
        ("registers.lamps.COUNT < 2 s", "a number without a unit"),
        ("texts < equal", "texts < needs a number, not 'equal'"),
        ("checks.py:none == 1", "there is no function 'none'"),
    ],
)
def test_a_mistake_is_one_sentence(bench: Bench, text: str, message: str) -> None:
    """What is no condition is refused, with the option."""
    with pytest.raises(InputError) as caught:
        condition_of(text, bench.system(), bench.folder)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)
