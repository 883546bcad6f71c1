"""``busbox lesson``: the list, a task, the verdict, hints, what is noted, the table of a class."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from busbox.cli import main
from busbox.lessons.code import code_of
from busbox.lessons.drawing import variant
from busbox.lessons.finding import lesson, lessons
from busbox.lessons.judging import wrong_answer
from busbox.lessons.reply import shown

pytestmark = pytest.mark.quick

#: Runs ``busbox lesson WORDS`` and returns exit code, output and complaints.
Learn = Callable[..., tuple[int, str, str]]


@pytest.fixture
def learn(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Learn:
    """Run the verb in an empty folder, 80 columns wide."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")

    def run(*words: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            main(["lesson", *words])
        seen = capsys.readouterr()
        assert isinstance(ended.value.code, int)
        return ended.value.code, seen.out, seen.err

    return run


def _flat(text: str) -> str:
    return " ".join(text.split())


def test_the_list_has_minutes_and_what_one_learns(learn: Learn) -> None:
    """Each lesson is listed with number, minutes, title and what one learns, in a page of 30 lines."""
    code, out, _ = learn()
    assert code == 0
    assert len(out.splitlines()) <= 30
    for one in lessons():
        assert f"{one.minutes} min  {one.title}" in out
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize("number", range(1, 13))
def test_a_task_fits_a_terminal_of_80_columns(learn: Learn, number: int) -> None:
    """A task has its words, a picture, what is asked and the command; no line is too long."""
    code, out, err = learn(str(number))
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 80
    assert "{" not in out
    assert "Address space" in out or "bit by bit" in out or "one column per cycle" in out
    assert out.splitlines()[-1].startswith(f"  busbox lesson {number} ")
    assert not Path("lesson_progress.txt").exists()


def test_a_right_answer_passes_and_is_noted(learn: Learn) -> None:
    """Exit code 0, what happened, the next lesson; the list then says passed."""
    code, out, _ = learn("1", "0x400a0000", "0x10")
    assert code == 0
    assert "passes: Lamp 4 is lit and no other" in out
    assert "The next one: busbox lesson 2" in out
    line = Path("lesson_progress.txt").read_text(encoding="utf-8").split("\t")
    assert line[1:5] == ["1", "1", "1", "passes"]
    assert "5 min  passed  First light" in learn()[1]


def test_three_tries_give_two_hints_and_the_worked_solution(learn: Learn) -> None:
    """A hint after the first and the second try, the worked solution after the third."""
    hints = [f"Hint: {text.split('{')[0]}" for text in lesson(10).hints]
    for attempt, expected in enumerate([hints[0], hints[1], "The worked solution:"], 1):
        code, out, _ = learn("10", "5")
        assert code == 1
        assert f"try {attempt}:" in out
        assert "not yet: With 5 wait states, the 24 writes occupy the bus for 144 cycles" in _flat(
            out
        )
        assert expected in out
        assert ("worked solution" in out) == (attempt == 3)
    assert "The worked solution:" in learn("10")[1]
    assert learn("10", "2")[0] == 0
    assert "Hint" not in learn("10", "--seed", "2")[1]


@pytest.mark.parametrize("number", [4, 9])
def test_a_typical_wrong_answer_is_named(learn: Learn, number: int) -> None:
    """The reply tells what happened, then the misconception."""
    one = lesson(number)
    numbers = variant(one, 2).numbers
    for wrong in one.wrong:
        values = wrong_answer(one, numbers, wrong)
        words = [shown(field, values[field.name]) for field in one.fields]
        code, out, _ = learn(str(number), *words, "--seed", "2")
        assert code == 1
        assert wrong.says.split("{")[0] in _flat(out)


def test_an_address_without_0x_is_not_readable(learn: Learn) -> None:
    """Exit code 2, and the question; it is noted, and no try."""
    code, out, err = learn("1", "40000000", "0x10")
    assert (code, out) == (2, "")
    assert err == (
        "busbox: address: it must say how it is read, not '40000000': write 0x40000000 for "
        "hexadecimal, or 0d40000000 for decimal (which is 0x02625a00)\n"
    )
    assert "\tnot readable\t" in Path("lesson_progress.txt").read_text(encoding="utf-8")
    assert "try 1:" in learn("1", "0x0", "0x10")[1]


def test_a_code_and_a_file_carry_an_answer(learn: Learn, tmp_path: Path) -> None:
    """The answer of a code or of a file is played as one that is typed."""
    numbers = variant(lesson(4), 17).numbers
    right = lesson(4).answer(numbers)
    code, out, _ = learn("--code", code_of(4, 17, list(right.values())))
    assert code == 0
    assert "Lesson 4, seed 17, try 1" in out
    header = [f"#define {name} {value:#x}" for name, value in right.items()]
    (tmp_path / "mine.h").write_text("\n".join(header), encoding="utf-8")
    assert learn("4", "--seed", "17", "--answer", "mine.h")[0] == 0


def test_a_header_is_mended_by_naming_what_changes(learn: Learn) -> None:
    """In lesson 11, constants that are not named keep the header's value."""
    numbers = variant(lesson(11), 1).numbers
    right = lesson(11).answer(numbers)
    mended = [
        f"{name}={value:#x}" for name, value in right.items() if numbers[f"h_{name}"] != value
    ]
    assert len(mended) == 4
    assert learn("11", *mended)[0] == 0
    assert learn("11", *mended[:3])[0] == 1


def test_the_table_of_a_class(learn: Learn) -> None:
    """A row a student: the try that passed, tries in parentheses, and sums."""
    learn("10", "5", "--progress", "seat_1.txt")
    learn("10", "2", "--progress", "seat_1.txt")
    learn("10", "5", "--progress", "seat_2.txt")
    learn("1", "0x400a0000", "0x10", "--progress", "seat_2.txt")
    code, out, _ = learn("--collect", "seat_1.txt", "seat_2.txt")
    assert code == 0
    rows = [line.split() for line in out.splitlines()[:4]]
    assert rows == [
        ["student", "1", "10", "passed"],
        ["seat_1", "-", "2", "1"],
        ["seat_2", "1", "(1)", "1"],
        ["passed", "1", "1", "2"],
    ]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["13"], "lesson: a lesson must be a number from 1 to 12, or a file such as mine.py, not '13'"),
        (["none.py"], "there is no file 'none.py'"),
        (["4", "--seed", "0"], "--seed: must be at least 1, not 0"),
        (["--seed", "3"], "the list of lessons: cannot be combined with --seed"),
        (["4", "--answer", "x", "1"],
         "--answer: cannot be combined with an answer in words; give only one"),
        (["--collect"], "--collect: needs files of progress, one for each student"),
        (["--collect", "none.txt"], "none.txt: there is no such file"),
        (["--code", "AAAA", "4"], "--code: cannot be combined with a LESSON"),
        (["9", "20", "30"], "answer: unexpected '30'; the answer takes count"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_one_line(learn: Learn, words: list[str], message: str) -> None:
    """Bad input: exit code 2 and one line."""
    code, out, err = learn(*words)
    assert (code, out, err) == (2, "", f"busbox: {message}\n")


def test_a_broken_lesson_of_ones_own_is_refused_with_every_mistake(
    learn: Learn, tmp_path: Path
) -> None:
    """Names without a value, tags and rules that do not exist are told at once, with their place."""
    (tmp_path / "mine.py").write_text(
        "from dataclasses import replace\n"
        "from busbox.lessons import Must\n"
        "from busbox.lessons.twelve.lesson_10 import LESSON\n"
        "play = replace(LESSON.plays[0], must=(Must('ends', 'wites', 'ACK', 'no {sen}'),))\n"
        "LESSON = replace(LESSON, task='{writs} writes', plays=(play,), teaches=('bus-hung',))\n",
        encoding="utf-8",
    )
    code, _, err = learn("mine.py")
    assert code == 2
    assert err.splitlines() == [
        "busbox: mine.py: teaches: there is no rule 'bus-hung'; did you mean 'bus-hang'?",
        "busbox: mine.py: task: 'writs' has no value here; did you mean 'writes'?",
        "busbox: mine.py: says: 'sen' has no value here; did you mean 'seen'?",
        "busbox: mine.py: plays.0: 'ends' is of 'wites', which is none of writes",
    ]
    (tmp_path / "mine.py").write_text("LESSON = 3\n", encoding="utf-8")
    assert learn("mine.py")[2] == "busbox: mine.py: LESSON must be a Lesson, not 3\n"
