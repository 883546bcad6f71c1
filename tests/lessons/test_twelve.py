"""The twelve lessons: right answers pass, each typical wrong one gets its own words, by playing."""

from __future__ import annotations

import pytest

from busbox.lessons.checking import check_lesson
from busbox.lessons.declaring import Lesson
from busbox.lessons.drawing import MOST_DRAWS, Variant, variant
from busbox.lessons.expressions import filled
from busbox.lessons.finding import lesson, lessons
from busbox.lessons.judging import NOT_YET, PASSES, judge, named, wrong_answer
from busbox.lessons.reply import read_words, shown

LESSONS = [pytest.param(one, id=str(one.number)) for one in lessons()]
SEEDS = range(1, 21)


def check_variant(drawn: Variant) -> None:
    """Check that the right answer passes and each wrong one is refused with its own words."""
    one, numbers = drawn.lesson, drawn.numbers
    right = one.answer(numbers)
    assert judge(one, numbers, right).word == PASSES, drawn
    replies = set()
    for wrong in one.wrong:
        verdict = judge(one, numbers, wrong_answer(one, numbers, wrong))
        happened, misconception = verdict.said
        assert (verdict.word, verdict.wrong) == (NOT_YET, wrong.name), drawn
        assert misconception == filled(wrong.says, named(numbers, right))
        assert happened
        replies.add(misconception)
    assert len(replies) == len(one.wrong)


@pytest.mark.parametrize("one", LESSONS)
def test_right_answers_pass_and_wrong_ones_name_the_misconception(one: Lesson) -> None:
    """20 seeds: the right answer passes; each wrong one fails on the bus, with its own words."""
    for seed in SEEDS:
        check_variant(variant(one, seed))


@pytest.mark.long
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("one", LESSONS)
def test_of_500_seeds_each_gives_a_variant_that_works(one: Lesson) -> None:
    """500 seeds: as for 20; the variants of a lesson differ."""
    drawn = [variant(one, seed) for seed in range(1, 501)]
    for each in drawn:
        check_variant(each)
    assert len({tuple(each.numbers.items()) for each in drawn}) > 12


@pytest.mark.quick
@pytest.mark.parametrize("one", LESSONS)
def test_a_lesson_is_complete(one: Lesson) -> None:
    """Each lesson has all its parts, and its names, tags and rules exist."""
    check_lesson(one, "lesson")
    for text in (one.title, one.learns, one.task, one.solution, one.passes, one.board):
        assert text.strip()
    assert len(one.hints) == 3
    assert len(one.wrong) >= 3
    assert one.questions


def test_the_lessons_take_85_minutes() -> None:
    """They fill a workshop of 90 minutes with five to arrive (minutes: workshop, common practice)."""
    assert [one.minutes for one in lessons()] == [5, 6, 5, 7, 8, 5, 9, 7, 8, 7, 8, 10]
    assert [one.number for one in lessons()] == list(range(1, 13))


@pytest.mark.parametrize("one", LESSONS)
def test_a_seed_always_gives_the_same_variant_and_others_differ(one: Lesson) -> None:
    """The numbers follow from the seed alone, and ten seeds give at least five variants."""
    first, again = variant(one, 3), variant(one, 3)
    assert first.numbers == again.numbers
    assert len({tuple(variant(one, seed).numbers.items()) for seed in range(1, 11)}) >= 5


@pytest.mark.parametrize("one", LESSONS)
def test_the_right_answer_can_be_typed(one: Lesson) -> None:
    """What is shown of an answer is read back as the same answer, in order and by name."""
    numbers = variant(one, 5).numbers
    right = one.answer(numbers)
    words = [shown(field, right[field.name]) for field in one.fields]
    by_name = [f"{field.name}={word}" for field, word in zip(one.fields, words, strict=True)]
    assert read_words(one, numbers, words) == right
    assert read_words(one, numbers, reversed(by_name)) == right


@pytest.mark.parametrize("one", LESSONS)
def test_no_reply_says_what_was_expected(one: Lesson) -> None:
    """Words of a refusal tell what happened: none says what was expected."""
    said = [must.says for play in one.plays for must in play.must]
    said += [rule.says for rule in one.before] + [wrong.says for wrong in one.wrong]
    assert not [text for text in said if "expected" in text or "should be" in text]


def test_a_lesson_without_a_variant_that_works_is_refused() -> None:
    """If no draw can be judged as it should be, the reason is told, not a broken task shown."""
    from dataclasses import replace

    from busbox.basics.errors import InputError

    broken = replace(lesson(10), answer=lambda numbers: {"wait": 900})
    with pytest.raises(InputError) as caught:
        variant(broken, 1)
    assert str(caught.value).startswith(
        f"lesson 10: none of {MOST_DRAWS} draws of seed 1 can be used; of the last one, the right "
        "answer does not pass: With 900 wait states, the "
    )
