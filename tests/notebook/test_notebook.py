"""Objects in a notebook; columns for libraries of data frames; the notebook that is written."""

from __future__ import annotations

import dataclasses
from html.parser import HTMLParser
from pathlib import Path

import jupytext
import numpy as np
import pandas
import polars
import pytest
from nbclient import NotebookClient

import busbox
from busbox import load_bench
from busbox.bench.bench import Bench
from busbox.map.slots import AddressMap
from busbox.pictures import Look, finding_picture
from busbox.pictures.finding import SHOWN as SHOWN_AS_LAMPS
from busbox.plugins import SHOWN, as_html
from tests.cli.saying import say
from tests.pictures.geometry import words

#: Cells of the notebook whose last line shows an object of ours.
SHOWN_CELLS = 5


class Balanced(HTMLParser):
    """Reads HTML; every element must be closed, inside the one around it."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.cells: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.open.append(tag)
        if tag in ("td", "th", "caption", "p"):
            self.cells.append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] in ("td", "th", "caption", "p", "strong"):
            self.cells[-1] += data


def cells_of(shown: object) -> list[str]:
    """Return the texts of cells and paragraphs that an object shows."""
    reader = Balanced()
    reader.feed(as_html(shown))
    reader.close()
    assert reader.open == []
    return [cell.strip() for cell in reader.cells]


WRONG = {
    "clock": "1 MHz",
    "slot": {"levers": {"model": "gpio", "base": 0x1000, "size": 0x1000}},
    "traffic": lambda bus: bus.write(0x4000, 1),
}


@pytest.mark.quick
def test_every_object_shows_what_it_is() -> None:
    """Slots of a bench and a map, the verdict of a run, the message of a finding, rows of a sweep."""
    bench = load_bench("first_light")
    for shown in (bench, AddressMap([device.slot for device in bench.devices()])):
        cells = cells_of(shown)
        assert "0x44000000..0x44000fff" in cells
        assert "67,100,672" in cells
    recording = Bench(WRONG).run("python")
    cells = cells_of(recording)
    (finding,) = recording.findings
    assert cells[0].startswith("bench: done after")
    assert "Findings: 1" in cells
    assert finding.message in cells
    assert cells_of(finding)[0] == "unmapped-access"
    assert {finding.message, finding.hint} <= set(cells_of(finding))
    table = busbox.sweep(bench, {"slot.lamps.wait": [0, 1]}, ["cycles"], jobs=1)
    assert cells_of(table)[0] == "2 variants"
    assert [str(row["cycles"]) for row in table.rows] == cells_of(table)[5::3]
    assert set(SHOWN) == {"AddressMap", "Bench", "Finding", "Recording", "Sweep"}


@pytest.mark.quick
def test_what_has_a_picture_shows_it() -> None:
    """Alone as SVG, and below the tables; nothing is drawn of what does not fit, or cannot be built."""
    bench = load_bench("first_light")
    mapped = AddressMap([device.slot for device in bench.devices()])
    table = busbox.sweep(bench, {"slot.lamps.wait": [0, 1]}, ["findings"], jobs=1)
    for shown, said in (
        (bench, "gap: 63 MiB 1,016 KiB"), (mapped, "gap: 63 MiB 1,016 KiB"),
        (bench.run("python"), "all are shown as sent"), (table, "Sweep: 2 variants, 2 well"),
    ):  # fmt: skip
        picture = shown._repr_svg_()
        assert picture is not None
        assert said in words(picture)
        assert shown._repr_html_().endswith(picture)
    unmeasured = busbox.sweep(bench, {"slot.lamps.wait": [0]}, ["cycles"], jobs=1)
    quiet = Bench({**WRONG, "traffic": lambda bus: bus.read(0x1000)})
    for other in (Bench({"clock": "fast"}), quiet.run("python"), unmeasured):
        assert other._repr_svg_() is None
        assert "<svg" not in other._repr_html_()


@pytest.mark.quick
def test_a_recording_shows_the_pictures_of_its_findings() -> None:
    """The first of each rule, by its number; the picture of the whole run stands there once."""
    run = Bench(WRONG).run("python")
    picture = finding_picture(run, run.findings[0], Look())
    assert picture is not None
    assert f"<p>finding.0</p>\n{picture}" in run._repr_html_()
    lamps = load_bench("mistakes/lamp_zeros").run("python")
    assert {one.rule for one in lamps.findings} & {*SHOWN_AS_LAMPS}
    assert lamps._repr_html_().count(str(lamps._repr_svg_())) == 1
    hand_made = dataclasses.replace(run, carried=None)
    assert "<svg" not in hand_made._repr_html_()


@pytest.mark.quick
def test_words_of_users_are_no_markup() -> None:
    """What a bench is called, or says, is shown as text."""
    bench = Bench(WRONG, name="<script>alert(1)</script>")
    assert "<script" not in as_html(bench)
    assert "<script>alert(1)</script>: clock 1 MHz" in cells_of(bench)
    assert "must be" in " ".join(cells_of(Bench({"clock": "fast"}, name="cabin")))


@pytest.mark.quick
@pytest.mark.parametrize("name", ["accesses", "edges", "characters", "frames", "marks", "findings"])
def test_libraries_of_data_frames_take_a_table_as_it_is(name: str) -> None:
    """pandas and polars have the columns, the rows and the values of the structured array."""
    array = load_bench("first_light").run("python").table(name)
    assert len(array) or name == "findings"
    for frame in (pandas.DataFrame(array), polars.DataFrame(array)):
        assert tuple(frame.columns) == array.dtype.names
        assert len(frame) == len(array)
        for column in array.dtype.names or ():
            assert np.array_equal(np.asarray(frame[column], dtype=object), array[column])


def test_the_notebook_runs_from_the_first_cell_to_the_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As written; its objects show themselves as HTML, and the driver that is wrong is found out."""
    monkeypatch.chdir(tmp_path)
    told = say(capsys, "new", "notebook", "hour")
    assert told.startswith("hour: peripheral_in_an_hour.py\n")
    notebook = jupytext.read("hour/peripheral_in_an_hour.py")
    NotebookClient(notebook, timeout=60, kernel_name="python3").execute()
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", ())]
    pages = [one.data["text/html"] for one in outputs if "text/html" in one.get("data", {})]
    assert len(pages) == SHOWN_CELLS
    assert "unmapped-access" in pages[3]
    assert "4 variants" in pages[4]
    assert any("[(0, 0), " in one.data["text/plain"] for one in outputs if "data" in one)
