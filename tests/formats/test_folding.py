"""Folded traffic: which loops become what, which are left and why, from words worked out by hand."""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.units import Span
from busbox.cpu.steps import AccessStep, Named, Pause, Poll, Step, Until
from busbox.formats.folding import Folded, fold
from busbox.formats.folding.bits import masks
from busbox.formats.folding.counters import Limit, limit_of, mask_of_counter
from busbox.formats.folding.proof import unfolded

WRITE = AccessStep(True, 0x20, 1, wait=3)


def reads(words: Iterable[int], every: int = 5, wait: int = 2, at: int = 0x10) -> list[Step]:
    """Return the reads of one run of a loop at pc 0x100 + address."""
    return [
        AccessStep(False, at, word, wait=every if count else wait, pc=0x100 + at)
        for count, word in enumerate(words)
    ]


def note(folded: Folded) -> tuple[str, str]:
    """Return condition and remark of the only loop."""
    (one,) = folded.notes
    return one.condition, one.remark


def test_runs_of_one_read_are_polls_too() -> None:
    """A loop's runs become one poll each, those that ended at once included; the period is kept."""
    steps = [*reads([2, 2, 3]), WRITE, *reads([1], wait=9), WRITE, *reads([2, 1]), WRITE]
    poll = Poll(0x10, 1, 1, 5, wait=2, pc=0x110)
    at_once = Poll(0x10, 1, 1, 5, wait=9, pc=0x110)
    folded = fold(steps)
    assert folded.steps == (poll, WRITE, at_once, WRITE, poll, WRITE)
    assert note(folded) == ("& 0x1 == 0x1", "")
    assert folded.notes[0].at_once == 1


def test_words_that_ended_at_once_count() -> None:
    """A run of one read says what ends a loop, too: of two bits, one is left."""
    steps = [*reads([0, 0, 3]), WRITE, *reads([2]), WRITE]
    assert note(fold(steps)) == ("& 0x2 == 0x2", "")


def test_other_idle_cycles_begin_another_run() -> None:
    """Two runs with nothing in between are two polls, if the first read waited otherwise."""
    folded = fold([*reads([0, 1]), *reads([0, 0, 1], wait=7), WRITE])
    assert [step.wait for step in folded.steps if isinstance(step, Poll)] == [2, 7]


def test_without_a_pc_runs_are_those_of_an_address() -> None:
    """Reads without a known instruction are told apart by their address alone."""
    step = AccessStep(False, Named("telegraph", "STATUS"), 0, wait=4)
    last = AccessStep(False, Named("telegraph", "STATUS"), 8, wait=4)
    folded = fold([step, step, last, WRITE])
    assert folded.steps == (Poll(step.target, 8, 8, 4, wait=4), WRITE)


def test_a_choice_of_bits_is_told() -> None:
    """Of several bits that would do, the lowest is taken, and the others are told."""
    assert note(fold([*reads([0, 0, 6]), WRITE])) == (
        "& 0x2 == 0x2",
        "the recorded words allow 0x4 too",
    )


def test_two_bits_where_one_does_not_do() -> None:
    """A mask has as many bits as the words need: here 3 and 0 and 1 go on, 2 ends."""
    assert note(fold([*reads([3, 3, 0, 1, 1, 2]), WRITE]))[0] == "& 0x3 == 0x2"


def test_words_that_share_no_bit_are_left() -> None:
    """A loop whose last words have nothing that the others lack stays as recorded, and says so."""
    steps = [*reads([0, 0, 1]), WRITE, *reads([1, 1, 0]), WRITE]
    folded = fold(steps)
    assert list(folded.steps) == steps
    assert note(folded) == ("", "the words that ended a run share no bit that the others lack")


def test_a_queue_is_left() -> None:
    """Reads that take words out of a queue are no poll, even if a bit would tell the last one."""
    steps = [*reads([0x10, 0x42, 0x13, 0x50, 0x81]), WRITE]
    folded = fold(steps)
    assert list(folded.steps) == steps
    assert note(folded)[1] == "its words differ from read to read, as those of a queue do"


def test_a_recording_that_ends_inside_a_loop() -> None:
    """The run in which a recording ends is left as it is; the others are folded."""
    steps = [*reads([0, 0, 1]), WRITE, *reads([0, 0, 0])]
    folded = fold(steps)
    assert folded.steps[2:] == tuple(steps[4:])
    assert note(folded) == ("& 0x1 == 0x1", "the last run is left: the recording ends in it")


def test_reads_that_end_with_an_error_are_left() -> None:
    """A read without a recorded word ends a run: nobody knows what the loop saw."""
    odd = AccessStep(False, 0x10, None, wait=5, pc=0x110)
    assert fold([*reads([0, 0]), odd, WRITE]).steps[2] == odd


def counting(start: int, count: int, step: int = 14, **more: int) -> list[Step]:
    """Return the reads of a loop on a counter, the first word being ``start``."""
    return reads([(start + step * n) & 0xFFFF_FFFF for n in range(count)], **more)


SINCE = AccessStep(False, 0x10, 1000, wait=1, pc=0x50)


def test_a_wait_for_a_counter_is_an_until() -> None:
    """Reads up to 1,000 + 2,008, with 1,994 before: the limit is 2,000, since the read before."""
    steps = [SINCE, *counting(1006, 144, wait=4), WRITE]
    folded = fold(steps)
    kept = AccessStep(False, 0x10, None, wait=1, pc=0x50, keep="from_1")
    until = Until(0x10, 2000, every=5, wait=4, pc=0x110, since="from_1")
    assert folded.steps == (kept, until, WRITE)
    assert folded.kept == 1
    assert note(folded) == ("- from_1 >= 2,000", "2,000 is the roundest of 1,995 to 2,008")


def test_a_counter_may_wrap() -> None:
    """The difference is taken modulo 2**32, as firmware takes it."""
    start = 0xFFFF_FF00
    since = AccessStep(False, 0x10, start, wait=1, pc=0x50)
    folded = fold([since, *counting(start + 6, 144), WRITE])
    assert note(folded)[0] == "- from_1 >= 2,000"


def test_a_wait_since_the_end_of_the_one_before() -> None:
    """A loop that waits since its own last read keeps the word of each until."""
    ends = [SINCE, *counting(1006, 144, wait=4), WRITE, *counting(3014, 144, wait=4), WRITE]
    folded = fold(ends)
    untils = [step for step in folded.steps if isinstance(step, Until)]
    assert [(one.since, one.keep) for one in untils] == [("from_1", "from_2"), ("from_2", None)]


def test_a_limit_that_may_be_many_is_left() -> None:
    """Where no number is clearly the roundest, the loop stays as recorded, and the range is told."""
    steps = [SINCE, *counting(1008, 6), WRITE]
    folded = fold(steps)
    assert list(folded.steps) == steps
    assert note(folded) == ("", "its limit may be 65 to 78")


def test_two_limits_of_one_function() -> None:
    """A function that is called with two limits has untils with both."""
    second = AccessStep(False, 0x10, 9000, wait=1, pc=0x50)
    steps = [SINCE, *counting(1006, 144), WRITE, second, *counting(9006, 72), WRITE]
    assert note(fold(steps))[0] == "- from_1 >= 2,000, - from_1 >= 1,000"


def test_polls_and_pauses_stay() -> None:
    """What is no read stays where it is, and ends a run."""
    other = [Pause(Span(cycles=3)), Poll(0x10, 1)]
    assert fold([*reads([0, 1]), *other, *reads([0, 1])]).steps[1:3] == tuple(other)


@pytest.mark.parametrize(
    ("words", "mask"),
    [
        ([1, 5, 9, 14], 0xFFFF_FFFF),
        ([0xFFF0, 0xFFFA, 4, 14], 0xFFFF),
        ([0, 0, 0, 1], None),
        ([0, 1, 0, 1], None),
        ([5, 9], None),
    ],
)
def test_counters_only_grow(words: list[int], mask: int | None) -> None:
    """A counter moves forward by less than half of its range, and moves at most reads."""
    assert mask_of_counter(words) == mask


@given(st.sets(st.integers(0, 15), min_size=1), st.sets(st.integers(0, 15)))
def test_masks_are_the_smallest(ended: set[int], others: set[int]) -> None:
    """A mask tells all words that ended a run from all others, and none of fewer bits does."""

    def tells(mask: int) -> bool:
        values = {word & mask for word in ended}
        return len(values) == 1 and not values & {word & mask for word in others}

    every = [mask for mask in range(16) if others and tells(mask)]
    found = masks(ended, others)
    assert bool(found) == bool(every)
    if every:
        least = min(mask.bit_count() for mask in every)
        assert {mask.bit_count() for mask in found} == {least}
        assert all(tells(mask) for mask in found)
        if least == 1:
            assert found == [mask for mask in every if mask.bit_count() == 1]


@given(st.integers(1, 5000), st.integers(0, 40))
def test_limits_are_the_roundest(low: int, more: int) -> None:
    """A limit lies in its range and is the roundest there, clearly so."""
    found = limit_of([low - 1], [low + more])
    assert found is not None
    powers = {base**power for base in (2, 10) for power in range(14)}
    clear = [
        (power, number)
        for power in powers
        for number in range(low, low + more + 1)
        if power >= 4 * (more + 1) and number % power == 0
    ]
    value = low if not more else max(clear)[1] if clear else None
    assert found == Limit(value, low, low + more)


def test_no_limit_where_a_word_before_was_higher() -> None:
    """Nothing is both above a word that did not end a run and not above one that did."""
    assert limit_of([10], [10]) is None


def test_the_proof_finds_every_difference() -> None:
    """Steps that take other reads than those recorded give other steps back."""
    steps = [*reads([0, 0, 1]), WRITE]
    right = Poll(0x10, 1, 1, 5, wait=2, pc=0x110)
    assert unfolded([right, WRITE], steps) == steps
    for wrong in (
        Poll(0x10, 1, 1, 4, wait=2, pc=0x110),
        Poll(0x10, 1, 1, 5, wait=3, pc=0x110),
        Poll(0x10, 0, 1, 5, wait=2, pc=0x110),
        Poll(0x10, 2, 2, 5, wait=2, pc=0x110),
        Poll(0x14, 1, 1, 5, wait=2, pc=0x110),
        Poll(0x10, 1, 1, 5, 2, wait=2, pc=0x110),
        Poll(0x10, 1, 1, 5, wait=2, pc=0x114),
    ):
        assert unfolded([wrong, WRITE], steps) != steps


_words = st.lists(st.sampled_from((0, 1, 2, 3)), min_size=1, max_size=6)


@given(
    st.lists(
        st.one_of(
            st.builds(reads, _words, st.sampled_from((4, 5)), st.integers(0, 6)),
            st.builds(counting, st.integers(0, 99), st.integers(1, 30), st.integers(1, 40)),
            st.just([WRITE]),
        ),
        max_size=12,
    )
)
def test_any_traffic_folds_into_itself(pieces: list[list[Step]]) -> None:
    """Whatever is folded or left: with the recorded words, folded traffic is the traffic."""
    steps = [step for piece in pieces for step in piece]
    assert unfolded(fold(steps).steps, steps) == steps
