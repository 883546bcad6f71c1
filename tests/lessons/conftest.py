"""The page of all lessons in a browser; afterwards, no request and no error may have been seen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from busbox.lessons.drawing import variant
from busbox.lessons.finding import lessons
from busbox.lessons.page import lesson_page


@pytest.fixture(scope="session")
def lessons_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of the page, with two variants of each lesson."""
    file = tmp_path_factory.mktemp("lessons") / "lessons.html"
    variants = [[variant(one, seed) for seed in (1, 2)] for one in lessons()]
    file.write_text(lesson_page(variants), encoding="utf-8")
    return file


@pytest.fixture
def opened_lessons(browser: Any, lessons_page: Path) -> Iterator[Callable[..., Any]]:
    """Opens the page."""
    contexts, requests, errors = [], [], []

    def open_page(address: str = "", **options: Any) -> Any:
        context = browser.new_context(offline=True, **options)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda message: errors.append(message.text))
        page.on("request", lambda request: requests.append(request.url.split("#")[0]))
        page.goto(lessons_page.as_uri() + address)
        page.wait_for_selector("body.ready", timeout=20_000)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert {*requests} <= {lessons_page.as_uri(), "data:,"}
    assert not errors
