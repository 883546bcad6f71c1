"""``busbox lesson --page``: what it writes, what it refuses, and the code that comes back."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from busbox.lessons import page_data
from busbox.lessons.drawing import variant
from busbox.lessons.finding import lesson
from busbox.lessons.page import lesson_page
from busbox.lessons.terms import TERMS
from tests.cli.saying import say
from tests.lessons.test_page_browser import DESKTOP, fill_answer

Open = Callable[..., Any]


def test_the_page_of_a_lesson_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The file is written, with as many variants as asked for; the command says how large it is."""
    file = tmp_path / "page.html"
    text = say(capsys, "lesson", "4", "--page", str(file), "--seeds", "3..4")
    size = f"{file.stat().st_size:,} bytes"
    assert f"1 lesson, 2 variants of each, {size}" in " ".join(text.split())
    assert file.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("lesson", "99", "--page", "page.html"), "99"),
        (("lesson", "4", "--page", "page.html", "--seeds", "x"), "--seeds: must be FROM..TO"),
        (("lesson", "4", "--page", "nowhere/page.html"), "--page:"),
        (("lesson", "4", "--page", "page.html", "--seed", "3"), "cannot be combined with --seed"),
        (("lesson", "4", "--seeds", "1..3"), "--seeds: needs --sheets or --page"),
    ],
)
def test_what_cannot_be_a_page_is_refused(
    words: tuple[str, ...],
    says: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """One message, exit code 2, and no file."""
    monkeypatch.chdir(tmp_path)
    text = say(capsys, *words, code=2)
    assert says in " ".join(text.split())
    assert not [*tmp_path.iterdir()]


def test_a_page_that_would_be_too_large_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Above the limit nothing is written, and the message says what to do."""
    monkeypatch.setattr("busbox.cli.lesson_page.MOST_BYTES", 10_000)
    file = tmp_path / "page.html"
    text = say(capsys, "lesson", "4", "--page", str(file), "--seeds", "1", code=2)
    assert "fewer --seeds" in " ".join(text.split())
    assert not file.exists()


def test_what_the_page_cannot_judge_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A lesson with a device or a finding that the script does not know makes no page."""
    drawn = [variant(lesson(1), 1)]
    monkeypatch.setattr(page_data, "MODELS", ("memory",))
    with pytest.raises(Exception, match="cannot judge the model gpio, pulse_led, timer and uart"):
        lesson_page([drawn])


@pytest.mark.parametrize("number", [4, 5, 8])
def test_the_code_of_the_page_is_judged_by_the_tool(
    opened_lessons: Open,
    number: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The command that the page shows plays the same answer: both say the same of it."""
    monkeypatch.chdir(tmp_path)
    page = opened_lessons(f"#lesson={number}&seed=2", **DESKTOP)
    drawn = variant(lesson(number), 2)
    fill_answer(page, number, drawn.lesson.answer(drawn.numbers))
    page.get_by_role("button", name="Check the answer").click()
    found = re.search(r"busbox (lesson --code [A-Z2-7]+)", page.locator(".reply").inner_text())
    assert found is not None
    text = say(capsys, *found[1].split())
    assert f"Lesson {number}, seed 2" in text


def test_a_lesson_of_ones_own_is_asked_for_by_its_file(browser: Any, tmp_path: Path) -> None:
    """No code can name the file of a teacher's lesson: the command has the answer in words."""
    file = tmp_path / "page.html"
    drawn = variant(lesson(4), 1)
    file.write_text(lesson_page([[drawn]], "mine.py"), encoding="utf-8")
    page = browser.new_page()
    page.goto(file.as_uri())
    page.wait_for_selector("body.ready")
    right = drawn.lesson.answer(drawn.numbers)
    fill_answer(page, 4, right)
    page.get_by_role("button", name="Check the answer").click()
    words = " ".join(f"{name}={value:#x}" for name, value in right.items())
    assert f"busbox lesson mine.py --seed 1 {words}" in page.locator(".reply").inner_text()
    page.close()


def test_the_words_of_the_lessons_are_explained(opened_lessons: Open) -> None:
    """Each term stands with its meaning on the page, folded until it is asked for."""
    page = opened_lessons("", **DESKTOP)
    words = page.locator("#words dl")
    assert not words.is_visible()
    page.get_by_text("What the words mean").click()
    shown_pairs = zip(
        words.locator("dt").all_inner_texts(), words.locator("dd").all_inner_texts(), strict=True
    )
    assert tuple(shown_pairs) == TERMS


@pytest.mark.parametrize("name", ["lessons", "lessons.txt", "a=b"])
def test_a_page_has_the_suffix_of_one(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Another name is refused before anything is played: no browser would open the file."""
    told = say(capsys, "lesson", "--page", name, code=2)
    assert (
        told == f"busbox: --page: must end in .html, as it is a page for a browser, not {name!r}\n"
    )
