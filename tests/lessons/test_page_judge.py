"""The judge of the page against the one in Python: verdict and words, for right and wrong answers."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.lessons.code import code_of
from busbox.lessons.declaring import Lesson
from busbox.lessons.drawing import Variant, variant
from busbox.lessons.finding import NUMBERS, lesson
from busbox.lessons.judging import PASSES, judge, wrong_answer
from busbox.lessons.page_data import lessons_data
from busbox.lessons.reply import read_value
from tests.lessons.page_script import asked_of_lessons
from tests.report.page_script import needs_node

pytestmark = needs_node

#: Seeds of each lesson.
SEEDS = range(1, 6)
#: More of them, in the long tests.
MORE_SEEDS = range(6, 31)

JUDGE = """
const { judge } = modules["judge.js"];
const { codeOf } = modules["code.js"];
const variants = given.data.lessons[0];
const result = given.answers.map(({ place, answer }) => {
  const pairs = Object.entries(answer).map(([name, value]) => [name, BigInt(value)]);
  const values = Object.fromEntries(pairs);
  const variant = variants[place];
  const verdict = judge(variant, values, given.data.shared);
  const code = codeOf(variant.number, variant.seed, variant.fields.map((field) => values[field.name]));
  return [verdict.passes, verdict.said, verdict.wrong, code];
});
"""


def answers_to(drawn: Variant) -> list[dict[str, int]]:
    """Return the right answer, each typical wrong one, and those with one field a little off."""
    one, numbers = drawn.lesson, drawn.numbers
    right = one.answer(numbers)
    found = [right, *(wrong_answer(one, numbers, wrong) for wrong in one.wrong)]
    for field in one.fields:
        value = right[field.name]
        for other in (value + 4, value - 1, 0, value ^ 1, 0xFFFF_FFFF):
            if 0 <= other <= 0xFFFF_FFFF:
                found.append({**right, field.name: other & most_of(one, field.name)})
    return found


def most_of(one: Lesson, name: str) -> int:
    """Return the bits that an answer to a field can have."""
    (field,) = (field for field in one.fields if field.name == name)
    if field.kind == "choice":
        return 1
    return 15 if field.kind == "bits" else 0xFFFF_FFFF


@pytest.mark.parametrize(
    "seeds", [SEEDS, pytest.param(MORE_SEEDS, marks=pytest.mark.long)], ids=["few", "more"]
)
@pytest.mark.parametrize("number", NUMBERS)
def test_both_judges_say_the_same(number: int, seeds: range, tmp_path: Path) -> None:
    """Verdict, sentences, misconception and code are the same, for each seed of the lesson."""
    one = lesson(number)
    drawn = [variant(one, seed) for seed in seeds]
    cases = [(place, answer) for place, each in enumerate(drawn) for answer in answers_to(each)]
    given = {
        "data": lessons_data([drawn]),
        "answers": [{"place": place, "answer": answer} for place, answer in cases],
    }
    answers = asked_of_lessons(JUDGE, given, tmp_path)
    passed = failed = 0
    for (place, answer), found in zip(cases, answers, strict=True):
        verdict = judge(one, drawn[place].numbers, answer)
        values = [answer[field.name] for field in one.fields]
        code = code_of(number, drawn[place].seed, values)
        expected = [verdict.word == PASSES, list(verdict.said), verdict.wrong, code]
        assert found == expected, (drawn[place].seed, answer)
        passed += found[0]
        failed += not found[0]
    assert passed >= len(seeds)
    assert failed >= len(seeds) * len(one.wrong)


def test_the_page_reads_an_answer_as_the_tool_does(tmp_path: Path) -> None:
    """What the tool reads the page reads as the same number; what one asks about the other does, too.

    Of a hexadecimal number without 0x the page asks, which is not readable for the tool.
    """
    texts = ["0x40001005", "4000_1005", "40001005", "0", "7", "12", "0x", "abc", "-1", "1e3", "0b101",
             "0xFFFFFFFF", "0x100000000", "4294967296", "99999999999", "0x4000_1005", "_1", "1_", "0B1",
             "1__0", "0x_", "1.5", "0X1F", "beef", "0102", ""]  # fmt: skip
    fields = [
        field for number in NUMBERS for field in lesson(number).fields if field.kind == "number"
    ]
    kinds = {field.hexadecimal: field for field in fields}
    assert set(kinds) == {True, False}
    for hexadecimal, field in kinds.items():
        answers = asked_of_lessons(
            """const { readNumber } = modules["bits.js"];
            const result = given.texts.map((text) => {
              const found = readNumber(text, { asks: given.asks });
              return "value" in found ? String(found.value) : null;
            });""",
            {"texts": texts, "asks": hexadecimal},
            tmp_path,
        )
        for text, answer in zip(texts, answers, strict=True):
            assert answer == _of_tool(field, text), (text, hexadecimal)


def _of_tool(field: Any, text: str) -> str | None:
    try:
        return str(read_value(field, text))
    except (ValueError, InputError):
        return None
