"""The page of a sweep, and the table that it is made from."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from busbox import BusboxError, sweep
from busbox.pictures import Look, fitted, sweep_picture
from busbox.report.sweep_page import is_wrong, keys_of, sweep_page
from busbox.variants.tables import SweepTable, read_table
from tests.npm import violations

pytestmark = pytest.mark.quick

VARY = {"clock": ["8 MHz", "16 MHz"], "slot.telegraph.divisor": [8, 16, 0x100000]}
MEASURES = ["duration", "findings", "met", "expectations", "texts", "certain_until"]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The table of one sweep, in each form."""
    folder = tmp_path_factory.mktemp("sweep")
    made = {}
    for suffix in ("csv", "json", "parquet"):
        if suffix == "parquet":
            pytest.importorskip("pyarrow", reason="the extra parquet is not installed")
        made[suffix] = folder / f"table.{suffix}"
        sweep("first_light", VARY, MEASURES, jobs=1, engine="python", file=made[suffix])
    return made


@pytest.mark.parametrize("suffix", ["csv", "json", "parquet"])
def test_a_table_is_read_back(files: dict[str, Path], suffix: str) -> None:
    """Columns, keys and rows are those of the sweep, whatever the form; CSV says yes and no."""
    found = read_table(files[suffix])
    expected = sweep("first_light", VARY, MEASURES, jobs=1, engine="python")
    assert found.columns == expected.columns
    assert keys_of(found) == list(VARY)
    for row, other in zip(found.rows, expected.rows, strict=True):
        assert dict(row) == {name: other.get(name) for name in expected.columns}


def test_the_page_shows_the_picture_of_the_sweep(files: dict[str, Path]) -> None:
    """The cells are those of ``busbox draw sweep``, once for each width of screen."""
    page = sweep_page("table.json", read_table(files["json"]))
    table = read_table(files["json"])
    for look in (Look(358, transparent=True), Look(1200, transparent=True)):
        drawn = fitted(lambda one: sweep_picture(table, keys_of(table), one), look)
        said = re.search("<desc>(.*?)</desc>", drawn)
        assert said is not None
        assert page.count(said[0]) == 2


def test_every_variant_is_a_row_and_the_wrong_ones_are_counted(files: dict[str, Path]) -> None:
    """The page has each variant once, and says how many are well and why others were not run."""
    table = read_table(files["json"])
    page = sweep_page("table.json", table)
    assert page.count("</tr>") == 1 + len(table.rows)
    wrong = sum(is_wrong(row) for row in table.rows)
    assert wrong > 0
    well = len(table.rows) - wrong
    assert f"{well:,} {'is' if well == 1 else 'are'} well: no findings" in page
    assert "Not run: 2." in page
    assert "2 variants: " in page


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("a.csv", "clock,ended\n1,done\n", "is not the table of a sweep: its last column must be"),
        (
            "a.csv",
            "clock,message\n1\n",
            "that busbox sweep wrote, and cannot be read as csv",
        ),
        ("a.json", "[1", "that busbox sweep wrote, and cannot be read as json"),
        (
            "a.json",
            '[{"a": 1, "message": null}, {"a": 1}]',
            "that busbox sweep wrote, and cannot be read as json",
        ),
        (
            "a.parquet",
            "PAR",
            "that busbox sweep wrote, and cannot be read as parquet",
        ),
    ],
)
def test_another_file_is_refused(tmp_path: Path, name: str, text: str, says: str) -> None:
    """What is no table of a sweep is one message with its name, and no traceback."""
    if name.endswith("parquet"):
        pytest.importorskip("pyarrow", reason="the extra parquet is not installed")
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(BusboxError, match=re.escape(says)):
        read_table(tmp_path / name)


def test_the_page_sorts_draws_and_narrows(browser: Any, tmp_path: Path) -> None:
    """1,000 variants: a mark for each, a click on one chooses its row; columns sort by number."""
    rows = tuple(
        {"slot.lamps.wait": n % 10, "duration": (n * 7919 % 1000) / 1e6, "findings": n % 7 // 6,
         "message": None if n % 100 else "cannot be <b>run</b>"}
        for n in range(1000)
    )  # fmt: skip
    columns = ("slot.lamps.wait", "duration", "findings", "message")
    file = tmp_path / "sweep.html"
    file.write_text(sweep_page("sweep", SweepTable(columns, rows)), encoding="utf-8")
    page = browser.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(file.as_uri())
    page.wait_for_selector("body.ready")
    assert page.locator("#drawing [data-row]").count() == 1000
    page.locator("#drawing [data-row='17']").dispatch_event("click")
    assert page.evaluate("[...document.querySelectorAll('tbody tr')].indexOf("
                         "document.querySelector('.chosen'))") == 17  # fmt: skip
    page.locator("thead button").nth(1).click()
    shown = page.evaluate("JSON.parse(document.querySelector('#data').textContent).rows.length")
    assert shown == 1000
    first = page.locator("tbody tr").first.inner_text()
    least = min(range(1000), key=lambda n: (n * 7919 % 1000, n))
    assert first.split("\t")[0] == str(least % 10)
    page.locator("#search").fill("cannot be <b>run")
    assert page.locator("#found").inner_text() == "10 variants."
    assert errors == []
    page.close()


def test_the_page_of_a_sweep_keeps_the_rules_of_access(
    browser: Any, npm_tools: Path, files: dict[str, Path], tmp_path: Path
) -> None:
    """axe-core finds nothing against WCAG 2.2 AA, and 390 pixels are wide enough."""
    file = tmp_path / "sweep.html"
    file.write_text(sweep_page("first_light", read_table(files["csv"])), encoding="utf-8")
    page = browser.new_page(viewport={"width": 390, "height": 800}, color_scheme="dark")
    page.goto(file.as_uri())
    page.wait_for_selector("body.ready")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert violations(page, npm_tools) == []
    page.close()
