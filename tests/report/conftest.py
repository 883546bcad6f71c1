"""Pages of runs in a browser; without one, its tests are skipped, and say so."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from busbox import Bench
from busbox.report.page import run_page


@pytest.fixture(scope="session")
def page_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Writes the page of a bench, once, and returns the file."""
    made: dict[str, Path] = {}

    def write(bench: str) -> Path:
        if bench not in made:
            loaded = Bench.load(bench)
            system = loaded.system()
            html = run_page(system, loaded.run("python", system=system))
            made[bench] = tmp_path_factory.mktemp("page") / "run.html"
            made[bench].write_text(html, encoding="utf-8")
        return made[bench]

    return write


@pytest.fixture
def opened(browser: Any, page_of: Callable[[str], Path]) -> Iterator[Callable[..., Any]]:
    """Opens the page of a bench; afterwards, no request and no error may have been seen."""
    contexts, requests, errors = [], [], []

    def open_page(bench: str, address: str = "", **options: Any) -> Any:
        context = browser.new_context(**options)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("console", lambda message: errors.append(message.text))
        url = page_of(bench).as_uri()
        page.on("request", lambda request: requests.append(request.url.split("#")[0]))
        page.goto(url + address)
        page.wait_for_selector("body.ready", timeout=20_000)
        page.wait_for_function("window.busbox !== undefined")
        assert set(requests) <= {url, "data:,"}
        return page

    yield open_page
    others = [one for one in requests if not one.startswith(("file:", "data:", "blob:"))]
    for context in contexts:
        context.close()
    assert not others
    assert not errors
