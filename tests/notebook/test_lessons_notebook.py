"""The lessons in a notebook: tasks that show themselves, replies, and the notebook that is written."""

from __future__ import annotations

from pathlib import Path

import jupytext
import pytest
from nbclient import NotebookClient

from busbox.lessons.drawing import variant
from busbox.lessons.finding import lessons
from busbox.lessons.reply import shown
from busbox.notebook.lesson import Task
from tests.cli.saying import say
from tests.notebook.test_notebook import Balanced

NUMBERS = [lesson.number for lesson in lessons()]


@pytest.mark.parametrize("number", NUMBERS)
def test_a_right_answer_passes_and_a_task_shows_itself(number: int) -> None:
    """By name and in order; the HTML is balanced and has the task and a picture."""
    lesson = lessons()[number - 1]
    drawn = variant(lesson, 5)
    right = lesson.answer(drawn.numbers)
    task = Task(number, seed=5)
    parts = {field.name: shown(field, right[field.name]) for field in lesson.fields}
    for reply in (task.check(**parts), task.check(*parts.values())):
        assert reply.passes, reply
        assert repr(reply).startswith("<passes: ")
        assert "<strong>passes</strong>" in reply._repr_html_()
    page = task._repr_html_()
    head, _, picture = page.partition("<svg")
    assert picture.rstrip().endswith("</svg>")
    reader = Balanced()
    reader.feed(head)
    assert reader.open == []
    assert f"Lesson {number}: {lesson.title}" in head
    assert task.tries == 0


@pytest.mark.quick
def test_each_try_earns_a_hint_and_the_third_the_solution() -> None:
    """What is not readable costs no try."""
    task = Task(10)
    assert repr(task.check(wait="x")).startswith(
        "<not yet: Not readable. wait: it must be a number"
    )
    assert task.tries == 0
    said = [task.check(wait=1000).said[-1] for _ in range(4)]
    assert [text.split(":")[0] for text in said] == ["Hint", "Hint"] + ["The worked solution"] * 2
    assert said[0] != said[1]


def test_the_notebook_of_the_lessons_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As written: every task shows itself, and each answer in it is a typical wrong one."""
    monkeypatch.chdir(tmp_path)
    assert say(capsys, "new", "lessons", "class").startswith("class: twelve_lessons.py\n")
    notebook = jupytext.read("class/twelve_lessons.py")
    NotebookClient(notebook, timeout=100, kernel_name="python3").execute()
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", ())]
    pages = [one.data["text/html"] for one in outputs if "text/html" in one.get("data", {})]
    assert len(pages) == 2 * len(NUMBERS)
    for number, lesson in zip(NUMBERS, lessons(), strict=True):
        task, reply = pages[2 * number - 2 : 2 * number]
        assert f"Lesson {number}: {lesson.title}" in task
        assert "<svg" in task
        assert "<strong>not yet</strong>" in reply
        assert "Not readable" not in reply
        assert "Hint: " in reply
