"""Answers that are read, and those that are asked about; codes; progress."""

from __future__ import annotations

from base64 import b32decode
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.lessons import code
from busbox.lessons.code import code_of, read_code
from busbox.lessons.declaring import Field
from busbox.lessons.drawing import variant
from busbox.lessons.finding import lesson
from busbox.lessons.progress import Row, add_check, read_progress, row_of, tries
from busbox.lessons.reply import read_file, read_value, read_words, shown

pytestmark = pytest.mark.quick

ADDRESS = Field("base", "base", hexadecimal=True)
COUNT = Field("count", "count")
LANES = Field("sel", "SEL", "bits")
WHO = Field("who", "who", "choice", choices=("levers", "telegraph", "lamps", "all lamps"))


@pytest.mark.parametrize(
    ("field", "text", "value"),
    [
        (ADDRESS, "0x2000_C000", 0x2000_C000), (ADDRESS, "0X10", 16), (ADDRESS, "8", 8),
        (ADDRESS, "0", 0), (ADDRESS, "0b100", 4), (ADDRESS, "0x1000,", 0x1000),
        (COUNT, "40", 40), (COUNT, "0x28", 40), (COUNT, "4_096", 4096),
        (LANES, "0100", 4), (LANES, "0b1100", 12),
        (WHO, "telegraph", 1), (WHO, "T", 1), (WHO, "lamps", 2), (WHO, "LEV", 0),
    ],
)  # fmt: skip
def test_what_is_readable(field: Field, text: str, value: int) -> None:
    """Numbers with 0x, 0b or _, lanes, and choices by their first letters are read."""
    assert read_value(field, text) == value


@pytest.mark.parametrize(
    ("field", "text", "message"),
    [
        (ADDRESS, "40000000",
         "it must say how it is read, not '40000000': write 0x40000000 for hexadecimal, or "
         "0d40000000 for decimal (which is 0x02625a00)"),
        (ADDRESS, "10", "it must say how it is read, not '10': write 0x10 for hexadecimal, or "
         "0d10 for decimal (which is 0x0000000a)"),
        (ADDRESS, "2000C000", "it must be a number such as 12 or 0x0c, not '2000C000'; did you mean "
         "0x2000C000?"),
        (ADDRESS, "base", "it must be a number such as 12 or 0x0c, not 'base'"),
        (ADDRESS, "0x123456789", "it must be at most 0xffffffff, not '0x123456789'"),
        (LANES, "4", "lanes must be four binary digits, SEL(3) first, such as 0001, not '4'"),
        (WHO, "clock", "must be levers, telegraph, lamps or all lamps, not 'clock'"),
        (WHO, "l", "must be levers, telegraph, lamps or all lamps, not 'l'"),
        (COUNT, "-1", "it must be a number such as 12 or 0x0c, not '-1'"),
        (COUNT, "", "it must be a number such as 12 or 0x0c, not ''"),
    ],
)  # fmt: skip
def test_what_is_not_readable_is_asked_about(field: Field, text: str, message: str) -> None:
    """An address without 0x is never taken as decimal in silence; the message says what to write."""
    with pytest.raises(ValueError) as caught:
        read_value(field, text)
    assert str(caught.value) == message


@given(st.integers(0, 0xFFFF_FFFF))
def test_what_is_shown_is_read(value: int) -> None:
    """Any value that is shown can be typed."""
    for field in (ADDRESS, COUNT):
        assert read_value(field, shown(field, value)) == value
    assert read_value(LANES, shown(LANES, value & 15)) == value & 15


def test_all_that_is_wrong_with_an_answer_is_said_at_once() -> None:
    """Missing parts, unknown names and unreadable values come together, each with its part."""
    numbers = variant(lesson(4), 1).numbers
    with pytest.raises(InputError) as caught:
        read_words(lesson(4), numbers, ["2000c000", "lst=0x5"])
    assert str(caught.value).splitlines() == [
        "answer: no part is called 'lst'; the answer takes base, last and next; did you mean 'last'?",
        "answer: last (last byte address) and next (first address after it) must be given as well",
        "base: it must be a number such as 12 or 0x0c, not '2000c000'; did you mean 0x2000c000?",
    ]


def test_an_answer_in_a_file_is_read_as_a_header_or_as_lines(tmp_path: Path) -> None:
    """``#define NAME VALUE``, ``NAME = VALUE`` and ``NAME: VALUE`` are the same, beside comments."""
    numbers = variant(lesson(4), 1).numbers
    file = tmp_path / "answer.h"
    file.write_text(
        "// mine\n# a comment\n\n#define base 0x2000E000 /* aligned */\nlast = 0x2000ffff\nnext: "
        "0x20010000\n",
        encoding="utf-8",
    )
    assert read_file(lesson(4), numbers, file) == {
        "base": 0x2000_E000, "last": 0x2000_FFFF, "next": 0x2001_0000,
    }  # fmt: skip
    file.write_text("base = 0x2000E000\nthe rest later\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_file(lesson(4), numbers, file)
    assert caught.value.mistakes[0].line == 2
    with pytest.raises(InputError, match="there is no file"):
        read_file(lesson(4), numbers, tmp_path / "none.h")


# Codes.

_VALUES = st.lists(st.integers(0, 0xFFFF_FFFF), min_size=1, max_size=12)


@given(st.integers(1, 12), st.integers(1, 10_000), _VALUES)
def test_a_code_carries_an_answer(number: int, seed: int, values: list[int]) -> None:
    """What is packed is unpacked, whatever the case and the spaces."""
    text = code_of(number, seed, values)
    assert read_code(text) == (number, seed, tuple(values))
    assert read_code(text.lower().replace(" ", "")) == (number, seed, tuple(values))


@given(st.integers(1, 12), _VALUES, st.data())
def test_one_wrong_letter_is_noticed(number: int, values: list[int], data: st.DataObject) -> None:
    """A code with one other letter is refused: a CRC of 8 bits sees every burst of up to 8 bits."""
    text = code_of(number, 1, values).replace(" ", "")
    place = data.draw(st.integers(0, len(text) - 1))
    other = data.draw(
        st.sampled_from(sorted(set("ABCDEFGHIJKLMNOPQRSTUVWXYZ234567") - {text[place]}))
    )
    damaged = text[:place] + other + text[place + 1 :]
    if _same_bytes(text, damaged):  # the unused bits of the last letter carry nothing
        assert read_code(damaged) == (number, 1, tuple(values))
    else:
        with pytest.raises(InputError, match="compare it letter by letter"):
            read_code(damaged)


def _same_bytes(text: str, other: str) -> bool:
    padding = "=" * (-len(text) % 8)
    return b32decode(text + padding) == b32decode(other + padding)


def test_bytes_of_a_code_are_those_of_the_standards() -> None:
    """Numbers are LEB128, the check is the CRC-8 of SMBus, by published values."""
    # DWARF 5, section 7.6: examples of unsigned LEB128
    examples = {2: "02", 127: "7f", 128: "8001", 129: "8101", 12857: "b964"}
    assert {value: code._packed(value).hex() for value in examples} == examples
    assert code._check(b"123456789") == 0xF4  # catalogue of CRC algorithms, CRC-8/SMBUS


@pytest.mark.parametrize("text", ["", "AB", "0000 1111", "AAAAAAAA", "hello world"])
def test_what_is_no_code_is_refused(text: str) -> None:
    """Anything else is refused, without a traceback."""
    with pytest.raises(InputError, match="--code: must be a code as the page shows it"):
        read_code(text)


# Progress.


def test_what_is_noted_is_read_again(tmp_path: Path) -> None:
    """Each check is a line; tries count those of the same lesson and seed that did not pass."""
    file = tmp_path / "seat_07.txt"
    assert read_progress(file) == []
    add_check(file, "4", 17, 1, "not yet", ["It\tis\nrefused.", "Why?"])
    add_check(file, "4", 17, 2, "not readable", ["base: no"])
    add_check(file, "4", 18, 1, "not yet", ["x"])
    add_check(file, "4", 17, 2, "passes", ["Yes."])
    checks = read_progress(file)
    assert [check.words for check in checks] == ["It is refused. Why?", "base: no", "x", "Yes."]
    assert tries(checks, "4", 17) == 1
    assert tries(checks, "5", 17) == 0
    assert row_of("seat_07", checks) == Row("seat_07", {"4": "2"})
    assert row_of("seat_07", checks[:3]).cells == {"4": "(2)"}
    assert row_of("seat_07", checks).passed == 1
    assert row_of("seat_07", checks[:3]).passed == 0


@pytest.mark.parametrize(
    "line", ["hello", "t\t4\tx\t1\tpasses\tw", "t\t4\t1\t1\tperhaps\tw", "t\t4\t1"]
)
def test_a_line_that_is_no_check_is_refused(tmp_path: Path, line: str) -> None:
    """A file that is something else is named with its line."""
    file = tmp_path / "p.txt"
    file.write_text(f"\n{line}\n", encoding="utf-8")
    with pytest.raises(
        InputError, match="must be time, lesson, seed, try, verdict and words"
    ) as caught:
        read_progress(file)
    assert caught.value.mistakes[0].line == 2


@pytest.mark.parametrize(
    "text", ["", "-", "AAAA", "AQDYASI", "\u00e9", "\u00c0QEA CBYK", "\uff21QEA"]
)
def test_letters_that_no_code_has_are_refused(text: str) -> None:
    """A letter outside of ASCII, nothing, and a last value that does not end are no code."""
    with pytest.raises(InputError, match="must be a code as the page shows it"):
        read_code(text)
