"""The lessons give the answers of published examples, and those that were played for the workshop."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from busbox.lessons.finding import lesson
from busbox.lessons.judging import NOT_YET, PASSES, judge

#: Of the workshop: lesson, its numbers, answers that pass, answers that do not.
#: (common practice, no source: played once with benches of their own)
PLAYED: list[tuple[int, dict[str, int], list[dict[str, int]], list[dict[str, int]]]] = [
    (
        1,
        {"base": 0x4000_0000, "lamp": 3},
        [{"address": 0x4000_0000, "data": 8}, {"address": 0x4000_0004, "data": 8}],
        [{"address": 0x4000_0000, "data": 3}, {"address": 0x0262_5A00, "data": 8}],
    ),
    (
        2,
        {"inside": 13, "base": 0x2000_0000, "wanted": 0x2000_1ABE},
        [{"compared": 0x10000, "offset": 0x1ABC, "lane": 2}],
        [
            {"compared": 0x20001, "offset": 0xABC, "lane": 2},
            {"compared": 0x10000, "offset": 0x1ABE, "lane": 2},
            {"compared": 0x10000, "offset": 0x1ABC, "lane": 1},
        ],
    ),
    (
        3,
        {"base": 0x2000_0000, "need": 0x3000, "page": 0x2000_4000},
        [{"size": 0x4000, "inside": 14, "compared": 18}],
        [
            {"size": size, "inside": inside, "compared": 32 - inside}
            for size, inside in ((0x2000, 13), (0x3000, 14), (0x8000, 15), (0x3FFF, 14))
        ],
    ),
    (
        4,
        {"size": 0x4000, "wanted": 0x2000_D000},
        [{"base": 0x2000_C000, "last": 0x2000_FFFF, "next": 0x2001_0000}],
        [
            {"base": base, "last": 0x2000_FFFF, "next": 0x2001_0000}
            for base in (0x2000_D000, 0x2000_8000, 0x2001_0000)
        ],
    ),
    (
        6,
        {"base": 0x4000_0000, "low": 0, "high": 2, "hole": 0x24},
        [{"address": 0x4000_000C, "data": 5, "at_in": 1, "at_hole": 1}],
        [
            {"address": 0x4000_0000, "data": 4, "at_in": 1, "at_hole": 1},
            {"address": 0x4000_0003, "data": 5, "at_in": 1, "at_hole": 1},
        ],
    ),
    (
        7,
        {"base": 0x4400_0000, "low": 24, "bit": 23},
        [{"images": 4096, "another": 0x44AB_C008, "lowest": 23, "left": 2048}],
        [{"images": 4096, "another": 0x44AB_C008, "lowest": 24, "left": 2048}],
    ),
    (
        8,
        {"base": 0x4000_0000, "small": 0x4000_1000, "letter": 0x41},
        [{"order": 0, "then": 0, "opposite": 1}],
        [{"order": 1, "then": 0, "opposite": 1}, {"order": 2, "then": 0, "opposite": 1}],
    ),
    (
        9,
        {"limit": 2, "wait": 20, "gap": 0x5000_0000},
        [{"count": count} for count in (20, 21, 22, 30, 31)],
        [{"count": 19}, {"count": 32}],
    ),
    (
        10,
        {"limit": 2, "writes": 8},
        [{"wait": 3}],
        [{"wait": wait} for wait in (0, 1, 2, 4)],
    ),
]


@pytest.mark.parametrize(("number", "numbers", "right", "wrong"), PLAYED)
def test_what_was_played_for_the_workshop_is_judged_so(
    number: int,
    numbers: Mapping[str, int],
    right: list[dict[str, int]],
    wrong: list[dict[str, int]],
) -> None:
    """Answers that worked in the workshop's benches pass, and those that did not are refused."""
    for answer in right:
        verdict = judge(lesson(number), numbers, answer)
        assert verdict.word == PASSES, (answer, verdict.said)
    for answer in wrong:
        assert judge(lesson(number), numbers, answer).word == NOT_YET, answer


def test_the_workshops_bytes_are_judged_so() -> None:
    """Byte 0xAA and halfword 0xBEEF at 0x20000012 (workshop: common practice, no source)."""
    numbers = {
        "word": 0x2000_0010, "lane": 2, "held": 0x1122_3344, "byte": 0xAA, "half": 0xBEEF,
    }  # fmt: skip
    right = {
        "address": 0x2000_0010, "data": 0x00AA_0000, "sel": 0b0100, "after": 0x11AA_3344,
        "half_data": 0xBEEF_0000, "half_sel": 0b1100,
    }  # fmt: skip
    assert judge(lesson(5), numbers, right).word == PASSES
    played = {
        (0xAA, 0b0100): "0x11003344",
        (0xAA, 0b0001): "0x112233aa",
        (0xAA, 0b0010): "0x11220044",
    }
    for (data, sel), word in played.items():
        said = judge(lesson(5), numbers, right | {"data": data, "sel": sel}).said
        assert f"it holds {word}:" in said[0]


@pytest.mark.parametrize(
    ("unused", "images"),
    [
        # a 64 K space, 1 K on A9..A0, A15..A10 not decoded: 64 (computer organisation exercise);
        # a 16-bit port space, A9..A0 decoded: 64 (public PC I/O notes)
        (6, 64),
        # a 1 M space, 2 K, 9 top bits not decoded: 512 (course notes)
        (9, 512),
        # 8 registers in 2000-3FFF, every 8 bytes: 1024 (public map of an 8-bit game console)
        (10, 1024),
        # 2 K of RAM in 0000-1FFF, A12 and A11 ignored: 4 (same)
        (2, 4),
    ],
)
def test_image_counts_are_those_of_published_examples(unused: int, images: int) -> None:
    """In lesson 7, as many bits that nobody looks at give as many images as the example says.

    The lesson's window has 12 bits inside; how many are inside does not enter the count.
    """
    numbers = {"base": 0x4400_0000, "low": 12 + unused, "bit": 12 + unused - 1}
    right = lesson(7).answer(numbers)
    for count in (images, images // 2, 2 * images, images - 1, unused):
        verdict = judge(lesson(7), numbers, right | {"images": count}).word
        assert (verdict == PASSES) == (count == images), count


@pytest.mark.parametrize(
    ("size", "wanted", "base", "after"),
    [
        # gates on A15..A12 = 0011, 4 K: 3000-3FFF (course slides on a microprocessor's memory)
        (0x1000, 0x3ABC, 0x3000, 0x4000),
        # 3-to-8 decoder on A14..A12, output 2: 2000-2FFF, output 7: 7000-7FFF (same)
        (0x1000, 0x2004, 0x2000, 0x3000),
        (0x1000, 0x7FFC, 0x7000, 0x8000),
        # four slaves on A15, A14: 4000-7FFF, 8000-BFFF (Wishbone B4, illustration 8-21)
        (0x4000, 0x5000, 0x4000, 0x8000),
        (0x4000, 0xBFFC, 0x8000, 0xC000),
        # a 5-bit space, four slaves of 8: 08-0F, 10-17 (Wishbone B4, table A-7)
        (0x8, 0x0C, 0x08, 0x10),
        (0x8, 0x10, 0x10, 0x18),
        # a base address register of 4 K may sit at 0xABCD000 (PCI local bus specification)
        (0x1000, 0xABC_D123 & ~3, 0xABC_D000, 0xABC_E000),
    ],
)
def test_windows_are_those_of_published_examples(
    size: int, wanted: int, base: int, after: int
) -> None:
    """In lesson 4, the window of a published example passes; one address off, nothing does.

    The examples have small spaces: they are moved up by 0x20000000, which changes no lower bit.
    """
    up = 0x2000_0000
    numbers = {"size": size, "wanted": up + wanted}
    answer = {"base": up + base, "last": up + after - 1, "next": up + after}
    assert judge(lesson(4), numbers, answer).word == PASSES
    for name in answer:
        for off in (-4, -1, 1, 4):
            assert judge(lesson(4), numbers, answer | {name: answer[name] + off}).word == NOT_YET


def test_a_window_of_4_k_cannot_sit_at_0x1080() -> None:
    """The base address register that the PCI local bus specification excludes is refused."""
    up = 0x2000_0000
    numbers = {"size": 0x1000, "wanted": up + 0x1084}
    answer = {"base": up + 0x1080, "last": up + 0x207F, "next": up + 0x2080}
    verdict = judge(lesson(4), numbers, answer)
    assert verdict.said == (
        "The bench refuses the base 0x20001080 of book: it is not a multiple of the size 0x1000.",
    )
