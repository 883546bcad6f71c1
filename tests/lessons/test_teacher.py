"""What a teacher gets: sheets that fit their paper, answers that pass, a guide, links from findings."""

from __future__ import annotations

import re
import shlex
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from busbox.cli import lesson_sheets
from busbox.cli.lesson_sheets import played
from busbox.lessons.declaring import Lesson
from busbox.lessons.drawing import variant
from busbox.lessons.finding import lessons
from busbox.lessons.judging import PASSES, judge
from busbox.lessons.reply import read_words
from busbox.lessons.sheet_page import MARGIN, PAPERS, cells_of
from busbox.lessons.task_facts import lessons_about
from busbox.plugins import RULES
from tests.cli.saying import say

#: Students of the sheets that are tested.
STUDENTS = 3
#: Points of PDF in a millimetre.
POINTS = 72 / 25.4


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the sheets of all lessons, and one with those of one lesson."""
    made = tmp_path_factory.mktemp("class")
    assert lesson_sheets.make(("all",), f"1..{STUDENTS}", str(made / "all")) == 0
    assert lesson_sheets.make(("11",), f"1..{STUDENTS}", str(made / "one")) == 0
    return made


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("which", ["all", "one"])
def test_a_sheet_is_one_page_of_its_paper(
    folder: Path, browser: Any, paper: str, which: str
) -> None:
    """A page a student, as large as the paper; no text is outside of its sheet, nor on another."""
    page = browser.new_page()
    page.goto((folder / which / f"sheets_{paper.lower()}.html").as_uri())
    page.emulate_media(media="print")
    outside = page.evaluate(
        """() => [...document.querySelectorAll('.sheet')].flatMap(sheet => {
             const box = sheet.getBoundingClientRect(), outside = [];
             for (const one of sheet.querySelectorAll('*')) {
               const its = one.getBoundingClientRect();
               if (its.right > box.right + 1 || its.bottom > box.bottom + 1 || its.left < box.left - 1)
                 outside.push(one.outerHTML.slice(0, 80));
             }
             return outside;
           })"""
    )
    assert outside == []
    pdf = page.pdf(prefer_css_page_size=True)
    page.close()
    boxes = re.findall(rb"/MediaBox \[([\d. ]+)\]", pdf)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == STUDENTS
    for box in boxes:
        _, _, width, height = map(float, box.split())
        assert (width / POINTS, height / POINTS) == pytest.approx(PAPERS[paper][:2], abs=0.5)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_sheet_has_no_colour(folder: Path, browser: Any, paper: str) -> None:
    """Every pixel is a grey: nothing is told by colour. The footer names student and seed."""
    page = browser.new_page()
    page.goto((folder / "all" / f"sheets_{paper.lower()}.html").as_uri())
    colours = page.evaluate(
        """() => [...new Set([...document.querySelectorAll('*')].flatMap(one => {
             const style = getComputedStyle(one);
             return [style.color, style.backgroundColor, style.borderTopColor];
           }))]"""
    )
    texts = page.eval_on_selector_all("footer", "found => found.map(one => one.innerText)")
    page.close()
    assert set(colours) <= {"rgb(0, 0, 0)", "rgb(255, 255, 255)", "rgba(0, 0, 0, 0)"}
    for seed, text in enumerate(texts, start=1):
        assert f"student {seed}, seed {seed}" in text
    assert len(texts) == STUDENTS


def test_sheets_have_the_task_and_not_the_answer(folder: Path) -> None:
    """The task of each lesson stands on the sheet; hints, solutions and replies do not."""
    text = unescape((folder / "all" / "sheets_a4.html").read_text(encoding="utf-8"))
    for lesson in lessons():
        assert text.count(f"{lesson.number} {lesson.title} <span>") == STUDENTS
        for secret in (*lesson.hints, lesson.solution, lesson.passes):
            plain = max(re.split(r"\{[^}]*\}", secret), key=len)
            assert plain not in text
    assert f"margin: {MARGIN}mm" in text


def test_every_answer_in_the_table_passes(folder: Path) -> None:
    """Typed as the table has it, each answer passes: the whole way from paper to the bench."""
    text = (folder / "all" / "answers_a4.html").read_text(encoding="utf-8")
    tables = re.findall(r"<table>(.*?)</table>", text, re.DOTALL)
    assert len(tables) == len(lessons())
    for lesson, table in zip(lessons(), tables, strict=True):
        rows = re.findall(r"<tr><th>(\d+)</th>(.*?)</tr>", table)
        assert [int(seed) for seed, _ in rows] == list(range(1, STUDENTS + 1))
        for seed, row in rows:
            cells = [unescape(cell) for cell in re.findall(r"<td>(.*?)</td>", row)]
            words = [word for cell in cells for word in cell.split(", ")]
            numbers = variant(lesson, int(seed)).numbers
            verdict = judge(lesson, numbers, read_words(lesson, numbers, words))
            assert verdict.word == PASSES, (lesson.number, seed, words)


def test_an_answer_that_does_not_pass_is_not_printed(monkeypatch: pytest.MonkeyPatch) -> None:
    """If a lesson's answer no longer passes, nothing is written and the reason is given."""
    from dataclasses import replace

    from busbox.basics.errors import InputError
    from busbox.lessons.drawing import Variant

    lesson = lessons()[0]
    broken: Lesson = replace(lesson, answer=lambda numbers: {"address": 0, "data": 0})
    drawn = Variant(broken, 1, variant(lesson, 1).numbers)
    monkeypatch.setattr(lesson_sheets, "variant", lambda *_: drawn)
    with pytest.raises(InputError, match="lesson 1: the right answer of seed 1 does not pass: "):
        played(broken, 1)


def test_the_guide_has_every_lesson_and_every_misconception(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The plan adds up to 90 minutes; each misconception has its reply."""
    page = say(capsys, "lesson", "all", "--guide")
    assert "The plan: 90 minutes" in page
    flat = " ".join(page.split())
    for lesson in lessons():
        assert f"{lesson.number} {lesson.title}, {lesson.minutes} minutes" in flat
        for wrong in lesson.wrong:
            assert f"- {wrong.name} (with seed 1: " in flat
        for question in lesson.questions:
            assert f"- {question}" in flat
    assert "{" not in page
    assert say(capsys, "lesson", "5", "--guide").startswith("5 Byte lanes, 8 minutes\n")


@pytest.mark.parametrize("rule", RULES.built_in)
def test_the_page_of_a_finding_names_its_lessons(
    capsys: pytest.CaptureFixture[str], rule: str
) -> None:
    """Exactly those that say that they teach it."""
    first = say(capsys, "explain", rule).splitlines()[0]
    listed = first.partition("(to learn it: busbox lesson ")[2]
    named = [int(number) for number in re.findall(r"\d+", listed)]
    assert named == [lesson.number for lesson in lessons_about(rule)]


def test_every_lesson_about_a_finding_names_one_that_exists() -> None:
    """And some findings have a lesson, or the test before would check nothing."""
    taught = {rule for lesson in lessons() for rule in lesson.teaches}
    assert {"image-access", "unmapped-access", "lanes-lost"} <= taught <= set(RULES.built_in)


@pytest.mark.quick
@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("4 --sheets x", "--sheets: needs --seeds, such as --seeds 1..30"),
        ("--sheets x --seeds 1..2", "--sheets: needs one LESSON, or 'all', not ''"),
        ("4 5 --sheets x --seeds 1..2", "--sheets: needs one LESSON, or 'all', not '4 5'"),
        ("4 --sheets x --seeds 3..1", "--seeds: must be FROM..TO such as 1..30, from 1 on, or a "),
        ("4 --sheets x --seeds 0", "--seeds: must be FROM..TO such as 1..30, from 1 on, or a "),
        ("4 --sheets x --seeds 1..9999", "--seeds: must be 1,000 seeds at most, not 1..9999"),
        ("4 --seeds 1..2", "--seeds: needs --sheets"),
        ("4 --for linux-x64", "--for: needs --kit"),
        ("4 --sheets x --seeds 1 --seed 2", "--sheets: cannot be combined with --seed"),
        ("4 --guide --sheets x", "--sheets: cannot be combined with --guide"),
        ("4 --kit x --for linux-x64", "--kit: cannot be combined with a LESSON"),
        ("13 --guide", "lesson: a lesson must be a number from 1 to 12"),
        ("4 --sheets full --seeds 1", "--sheets: must be a folder, not the file 'full'"),
    ],
)
def test_options_that_make_no_sense_are_refused(
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    line: str,
    message: str,
) -> None:
    """One message, exit code 2, nothing written."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "full").write_text("", encoding="utf-8")
    assert message in say(capsys, "lesson", *shlex.split(line), code=2)
    assert [file.name for file in tmp_path.iterdir()] == ["full"]


def test_cells_are_those_of_the_answer() -> None:
    """Of constants, only those that must be changed stand in the table."""
    for lesson in lessons():
        cells = cells_of(variant(lesson, 2))
        given = [field for field in lesson.fields if field.given]
        assert len(cells) == len(lesson.fields) - len(given) + bool(given)
