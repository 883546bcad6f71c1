"""A headless browser for tests, if one is installed; else the test is skipped and says why."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

#: Where Debian puts its browser, and what others call theirs.
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


@contextmanager
def launched() -> Iterator[Any]:
    """Give a browser of playwright; end it afterwards."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    executable = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if executable is None:
        pytest.skip("no chromium is installed (Debian: apt-get install chromium)")
    with api.sync_playwright() as playwright:
        options = ["--no-sandbox", "--disable-gpu"]
        browser = playwright.chromium.launch(executable_path=executable, args=options)
        yield browser
        browser.close()
