"""Lessons against naive models: any answer is judged as a few lines of arithmetic judge it."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.lessons.drawing import variant
from busbox.lessons.finding import lesson
from busbox.lessons.judging import PASSES, judge

WORD = 0xFFFF_FFFF


@cache
def numbers_of(number: int, seed: int) -> Mapping[str, int]:
    """Return the numbers of a variant."""
    return variant(lesson(number), seed).numbers


def passes(number: int, numbers: Mapping[str, int], **answer: int) -> bool:
    """Return whether an answer passes."""
    return judge(lesson(number), numbers, answer).word == PASSES


#: Values that stand at an edge of something.
_EDGES = (
    0,
    1,
    2,
    3,
    4,
    8,
    12,
    15,
    16,
    31,
    32,
    33,
    255,
    1000,
    1001,
    65_536,
    1 << 20,
    1 << 30,
    1 << 31,
    WORD,
)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_every_answer_is_judged(data: st.DataObject) -> None:
    """Whatever is answered, there is a verdict and what happened: no traceback, no unanswered place.

    Values are those of the right answer, near them, and edges.
    """
    one = lesson(data.draw(st.integers(1, 12)))
    numbers = numbers_of(one.number, 3)
    right = one.answer(numbers)
    answer = {}
    for field in one.fields:
        near = [right[field.name] + off for off in (0, 0, -4, -1, 1, 4, 0x1000, 0x4000)]
        many = {"choice": range(len(field.choices)), "bits": range(16)}.get(field.kind)
        values = many or [value for value in (*near, *_EDGES) if 0 <= value <= WORD]
        answer[field.name] = data.draw(st.sampled_from(list(values)))
    verdict = judge(one, numbers, answer)
    assert all(said and "{" not in said for said in verdict.said)
    assert verdict.word == PASSES or answer != right


def test_lesson_1_lets_every_write_pass_that_lights_the_lamp() -> None:
    """Of the writes of 16 data to all registers, those of OUT, SET and TOGGLE that light it pass."""
    lamp = 3
    numbers = {"base": 0x4003_0000, "lamp": lamp}
    for register in range(0, 0x24, 4):
        for data in [*range(12), 0x10, 0x108, 0x800, 0x8000_0000]:
            lights = register in (0x0, 0x4, 0xC) and data & 0xFF == 1 << lamp
            assert passes(1, numbers, address=0x4003_0000 + register, data=data) == lights


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_lesson_2_is_right_exactly_if_the_parts_make_the_address(data: st.DataObject) -> None:
    """An answer passes exactly if its parts make the address, with the offset of a word."""
    numbers = numbers_of(2, data.draw(st.integers(1, 5)))
    inside, wanted = numbers["inside"], numbers["wanted"]
    right = lesson(2).answer(numbers)
    near = st.integers(-1, 1)
    compared = right["compared"] + data.draw(near)
    offset = max(0, right["offset"] + data.draw(st.sampled_from([0, 0, 1, 2, 4, -4])))
    lane = data.draw(st.integers(0, 4))
    made = (compared << inside) + offset + lane
    right_cut = offset % 4 == 0 and offset < 1 << inside and lane < 4
    assert passes(2, numbers, compared=compared, offset=offset, lane=lane) == (
        right_cut and made == wanted
    )


def test_lesson_3_has_one_right_size_of_all() -> None:
    """Of the sizes 2^2 to 2^20, three that are no powers, and all splits of 32 bits, one passes."""
    numbers = {"base": 0x2000_0000, "need": 0x3000, "page": 0x2000_4000}
    for size in [*(1 << n for n in range(2, 21)), 0x3000, 0x3FFF, 12_000]:
        for inside in (12, 13, 14, 15, 18):
            for total in (31, 32):
                answer = {"size": size, "inside": inside, "compared": total - inside}
                right = (size, inside, total) == (0x4000, 14, 32)
                assert passes(3, numbers, **answer) == right, answer


@pytest.mark.parametrize("size", [0x1000, 0x2000, 0x4000])
def test_lesson_4_has_one_right_base_of_all(size: int) -> None:
    """Brute force over all multiples of 0x400 around: only the base passes; so for last and next."""
    wanted = 0x2000_D004
    base = wanted // size * size
    numbers = {"size": size, "wanted": wanted}
    for tried in range(0x2000_8000, 0x2001_2000, 0x400):
        fits = {"base": tried, "last": tried + size - 1, "next": tried + size}
        assert passes(4, numbers, **fits) == (tried == base), hex(tried)
    for off in range(-9, 10):
        right = {"base": base, "last": base + size - 1, "next": base + size}
        assert passes(4, numbers, **right | {"last": right["last"] + off}) == (off == 0)
        assert passes(4, numbers, **right | {"next": right["next"] + off}) == (off == 0)


def _after(held: int, data: int, lanes: int) -> int:
    """Return what a word holds after a write of some lanes, byte by byte."""
    old, new = held.to_bytes(4, "little"), data.to_bytes(4, "little")
    mixed = bytes(new[lane] if lanes >> lane & 1 else old[lane] for lane in range(4))
    return int.from_bytes(mixed, "little")


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_lesson_5_is_right_exactly_if_the_bytes_are(data: st.DataObject) -> None:
    """Any data and lanes pass exactly if the byte, and only it, changes in all three words."""
    numbers = numbers_of(5, data.draw(st.integers(1, 5)))
    right = lesson(5).answer(numbers)
    noise = data.draw(st.integers(0, WORD))
    given_data = data.draw(st.sampled_from([right["data"], right["data"] | noise, noise]))
    sel = data.draw(st.sampled_from([right["sel"], right["sel"], 0b0001, 0b1111, 0b0110]))
    shift = 8 * numbers["lane"]
    held = (numbers["held"], numbers["held"] ^ WORD, 0)
    expected = all(
        _after(word, given_data, sel) == word & ~(0xFF << shift) | numbers["byte"] << shift
        for word in held
    )
    assert passes(5, numbers, **right | {"data": given_data, "sel": sel}) == expected


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 8), st.integers(0, 0xFF), st.integers(0, 2), st.integers(0, 2))
def test_lesson_6_is_right_only_with_toggle(
    register: int, data: int, at_in: int, at_hole: int
) -> None:
    """Only TOGGLE with the two lamps passes, and only with both other writes said to be ignored."""
    numbers = {"base": 0x4000_0000, "low": 0, "high": 2, "hole": 0x24}
    answer = {"address": 0x4000_0000 + 4 * register, "data": data}
    right = (register, data, at_in, at_hole) == (3, 5, 1, 1)
    assert passes(6, numbers, **answer, at_in=at_in, at_hole=at_hole) == right
    assert passes(6, numbers, address=0x4000_000C, data=5, at_in=at_in, at_hole=at_hole) == (
        at_in == at_hole == 1
    )


@settings(max_examples=40, deadline=None)
@given(st.integers(19, 24), st.integers(15, 18), st.integers(0, 0xFFF), st.integers(0, 3))
def test_lesson_7_takes_every_address_of_an_image(
    low: int, bit: int, upper: int, offset: int
) -> None:
    """Another address of COUNT is one with the compared bits, offset 8, and not the base itself."""
    base = 0x4400_0000
    numbers = {"base": base, "low": low, "bit": bit}
    another = base + upper * 0x4000 + 4 * offset
    right = another >> low == base >> low and another % 0x1000 == 8 and another != base + 8
    answer = lesson(7).answer(numbers) | {"another": another}
    assert passes(7, numbers, **answer) == right


def test_lesson_7_has_one_right_bit_and_count() -> None:
    """Of all lowest bits and all powers of two as counts, one passes."""
    numbers = {"base": 0x4400_0000, "low": 24, "bit": 23}
    right = lesson(7).answer(numbers)
    for lowest in range(8, 33):
        assert passes(7, numbers, **right | {"lowest": lowest}) == (lowest == 23)
    for places in range(14):
        assert passes(7, numbers, **right | {"left": 1 << places}) == (places == 11)
        assert passes(7, numbers, **right | {"images": 1 << places}) == (places == 12)


def test_lesson_8_has_one_right_answer_of_27() -> None:
    """Of all 27 answers, the one in which the small window wins, and one slot answers, passes."""
    numbers = numbers_of(8, 1)
    right = [
        (order, then, opposite)
        for order in range(3)
        for then in range(3)
        for opposite in range(3)
        if passes(8, numbers, order=order, then=then, opposite=opposite)
    ]
    assert right == [(0, 0, 1)]


def test_lesson_9_takes_every_count_that_works() -> None:
    """Of the counts 0 to 34, with 20 wait states and 2 us, those from 20 to 31 pass."""
    numbers = {"limit": 2, "wait": 20, "gap": 0x5000_0000}
    right = [count for count in (*range(3), *range(17, 35)) if passes(9, numbers, count=count)]
    assert right == list(range(20, 32))


@pytest.mark.parametrize(("writes", "limit"), [(8, 2), (3, 2), (7, 3), (24, 5)])
def test_lesson_10_has_one_right_number(writes: int, limit: int) -> None:
    """Of 0 to 14 wait states, the most passes for which writes x (1 + wait) fits."""
    numbers = {"limit": limit, "writes": writes}
    most = max(wait for wait in range(60) if writes * (1 + wait) <= 16 * limit)
    assert [wait for wait in range(15) if passes(10, numbers, wait=wait)] == [most]


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_lesson_11_passes_only_if_all_four_are_mended(data: st.DataObject) -> None:
    """Of the sixteen ways to mend some of the four, only all of them pass."""
    one = lesson(11)
    numbers = numbers_of(11, data.draw(st.integers(1, 8)))
    right = one.answer(numbers)
    wrong = [name for name, value in right.items() if numbers[f"h_{name}"] != value]
    assert len(wrong) == 4
    mended = data.draw(st.sets(st.sampled_from(wrong)))
    answer = {name: right[name] if name in mended else numbers[f"h_{name}"] for name in right}
    assert passes(11, numbers, **answer) == (len(mended) == 4)


def test_lesson_12_takes_every_map_that_works() -> None:
    """Of 8,192 maps, those pass in which no two windows overlap: 96 (common practice, no source).

    Of the wrong maps, those are played that put clock into telegraph.
    """
    region = 0x4000_0000
    numbers = {"region": region, "levers": region, "need": 0x3000, "letter": 0x41}
    count = 0
    for book in range(0, 0x8000, 0x1000):
        for telegraph in range(0, 0x8000, 0x1000):
            for clock in range(0, 0x8000, 0x100):
                windows = [(0, 0x1000), (book, 0x4000), (telegraph, 0x1000), (clock, 0x100)]
                right = book % 0x4000 == 0 and _apart(windows)
                if not right and (book, telegraph, clock) != (book, telegraph, telegraph + 0x100):
                    continue
                answer = {"book": region + book, "size": 0x4000}
                answer |= {"telegraph": region + telegraph, "clock": region + clock}
                assert passes(12, numbers, **answer) == right, answer
                count += right
    assert count == 96


def _apart(windows: list[tuple[int, int]]) -> bool:
    """Return whether no two windows share an address, and all are inside 0x8000."""
    ordered = sorted(windows)
    ends = [base + size for base, size in ordered]
    return ends[-1] <= 0x8000 and all(
        end <= base for end, (base, _) in zip(ends[:-1], ordered[1:], strict=True)
    )
