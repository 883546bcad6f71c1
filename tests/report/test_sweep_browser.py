"""The page of a sweep in a browser: wide and narrow, light and dark, by mouse and to read aloud."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox import sweep
from busbox.report.sweep_page import sweep_page
from busbox.variants.tables import SweepTable
from tests.npm import violations

VARY = {"clock": ["8 MHz", "12 MHz", "16 MHz"], "slot.lamps.wait": [0, 1]}
MEASURES = ["duration", "findings", "met", "expectations"]


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Write the page of a sweep, and return its address."""
    found = sweep("first_light", VARY, MEASURES, jobs=1, engine="python")
    file = tmp_path_factory.mktemp("sweep") / "sweep.html"
    page = sweep_page("waits", SweepTable(found.columns, found.rows))
    file.write_text(page, encoding="utf-8")
    return file.as_uri()


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (390, "dark"), (320, "light")])
def test_the_page_of_a_sweep_fits_and_keeps_the_rules_of_access(
    browser: Any, address: str, npm_tools: Path, width: int, scheme: str
) -> None:
    """One of the two pictures, no sideways scrolling, no tiny text; axe-core finds nothing."""
    context = browser.new_context(
        viewport={"width": width, "height": 800}, color_scheme=scheme, reduced_motion="reduce"
    )
    page = context.new_page()
    requests: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.goto(address)
    page.wait_for_selector("#drawing [data-row]")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert [page.locator(f".cells .{one}").is_visible() for one in ("wide", "narrow")] == [
        width > 960, width <= 960,
    ]  # fmt: skip
    sizes = page.evaluate(
        """[...document.querySelectorAll("#drawing text, .cells text")].filter((one) =>
          one.getClientRects().length).map((one) => parseFloat(getComputedStyle(one).fontSize)
            * one.getScreenCTM().a)"""
    )
    assert min(sizes) > 10.7  # 11 in a picture for 358 pixels, drawn at 22 rem = 352
    page.locator("#drawing [data-row]").nth(3).click(force=True)
    assert page.locator("tr.chosen").count() == 1
    assert "clock 12 MHz, slot.lamps.wait 1" in page.locator("#reading").inner_text()
    found = violations(page, npm_tools)
    context.close()
    assert found == []
    assert {one for one in requests if not one.startswith("data:")} == {address}
