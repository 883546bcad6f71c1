"""The file of a sweep: what is kept of it while it goes on, and the table at the end."""

from __future__ import annotations

import csv
import json
import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import busbox
from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.variants.keeping import Keeping, check_name, write_table
from tests.variants.small import write_bench

CELLS = st.none() | st.booleans() | st.integers() | st.floats(-1e300, 1e300) | st.text()
ROWS = [{"cycles": 3, "text": 'a,"b"\n', "message": None}, {"message": "\u00e9"}, {"cycles": None}]


def kept(folder: Path, count: int = 3) -> bytes:
    """Keep some rows and return what is in the file."""
    keeping = Keeping(folder / "t.csv", "x")
    for number, row in enumerate(ROWS[:count]):
        keeping.add(number, row)
    keeping.close()
    return keeping.unfinished.read_bytes()


def test_a_cut_anywhere_loses_one_line_at_most(tmp_path: Path) -> None:
    """Whatever the length at which a kill cuts the file: all whole rows are there again."""
    whole = kept(tmp_path)
    file = tmp_path / "t.csv.unfinished"
    for length in range(len(whole) + 1):
        file.write_bytes(whole[:length])
        keeping = Keeping(tmp_path / "t.csv", "x")
        count = max(0, whole[:length].count(b"\n") - 1)
        assert keeping.rows == dict(enumerate(ROWS[:count]))
        for number in range(count, 3):
            keeping.add(number, ROWS[number])
        keeping.close()
        assert file.read_bytes() == whole


def test_a_row_is_in_the_file_as_soon_as_it_is_kept(tmp_path: Path) -> None:
    """What another process reads at once is the whole row."""
    keeping = Keeping(tmp_path / "t.csv", "x")
    keeping.add(5, {"n": 1})
    assert keeping.unfinished.read_bytes().endswith(b'\n[5, {"n": 1}]\n')
    keeping.close()


@pytest.mark.parametrize(
    "row",
    ['{"n": 1}', '{"n": 1, "message": null, "m": 2}', '{"n": 1e999, "message": null}',
     '{"n": [], "message": null}', "[" * 20_000, '{"n": NaN, "message": null}'],
    ids=["no message", "foreign column", "infinite", "a list", "deep", "no number"],
)  # fmt: skip
def test_a_row_that_no_sweep_has_written_is_refused(row: str, tmp_path: Path) -> None:
    """An altered file is no unfinished sweep; it stays as it is."""
    file = tmp_path / "t.csv.unfinished"
    text = f'{{"sweep": "x"}}\n[0, {{"n": 1, "message": null}}]\n[1, {row}]\n'
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="is no unfinished sweep; delete it, or choose another -o"):
        Keeping(tmp_path / "t.csv", "x", ["n"])
    assert file.read_text(encoding="utf-8") == text


def test_the_end_leaves_the_table_alone(tmp_path: Path) -> None:
    """The table is there, what was kept is not."""
    kept(tmp_path)
    keeping = Keeping(tmp_path / "t.csv", "x")
    keeping.finish(["cycles", "message"], ROWS)
    assert [path.name for path in tmp_path.iterdir()] == ["t.csv"]


def test_a_table_that_cannot_be_written_loses_no_row(tmp_path: Path) -> None:
    """The rows stay where they are kept."""
    whole = kept(tmp_path)
    keeping = Keeping(tmp_path / "t.csv", "x")
    (tmp_path / "t.csv").mkdir()
    with pytest.raises(InputError, match="cannot be written"):
        keeping.finish(["cycles"], ROWS)
    assert (tmp_path / "t.csv.unfinished").read_bytes() == whole


@settings(deadline=None)
@given(st.lists(st.fixed_dictionaries({"a": CELLS, "b": CELLS}), min_size=1, max_size=5))
def test_csv_and_json_hold_every_cell(
    tmp_path_factory: pytest.TempPathFactory, rows: list[dict[str, Any]]
) -> None:
    """An independent reader (Python's csv and json) gets back what was written."""
    folder = tmp_path_factory.mktemp("vtests_table")
    write_table(folder / "t.json", ["a", "b"], rows)
    assert json.loads((folder / "t.json").read_text(encoding="utf-8")) == rows
    write_table(folder / "t.csv", ["a", "b"], rows)
    with (folder / "t.csv").open(encoding="utf-8", newline="") as file:
        read = list(csv.reader(file))
    assert read[0] == ["a", "b"]
    words = {None: "", True: "yes", False: "no"}
    shown = [
        [words[v] if v is None or isinstance(v, bool) else str(v) for v in (row["a"], row["b"])]
        for row in rows
    ]
    assert read[1:] == shown


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        ([1, None, 3], [1, None, 3]),
        ([1, 0.5, None], [1.0, 0.5, None]),
        (["a", 1, True, None], ["a", "1", "yes", None]),
        ([True, False, None], [True, False, None]),
        ([2**70, 1], [str(2**70), "1"]),
        ([-(2**63), 2**63 - 1], [-(2**63), 2**63 - 1]),
        ([None, None], [None, None]),
    ],
)
def test_parquet_holds_columns_of_any_cells(
    tmp_path: Path, cells: list[Any], expected: list[Any]
) -> None:
    """A column of several kinds is text, or numbers with a point; an independent reader reads it."""
    parquet = pytest.importorskip("pyarrow.parquet")
    write_table(tmp_path / "t.parquet", ["a"], [{"a": cell} for cell in cells])
    assert parquet.read_table(tmp_path / "t.parquet").to_pydict() == {"a": expected}


def test_the_name_of_a_file_is_checked_first(tmp_path: Path) -> None:
    """Its suffix, its folder, and that it is no folder itself."""
    (tmp_path / "d.csv").mkdir()
    for name, message in {
        "t.cvs": r"must end in .csv, .json or .parquet, not 't.cvs'; did you mean '.csv'\?",
        "t": "must end in",
        "none/t.csv": "there is no folder",
        "d.csv": "must be a file, and .* is a folder",
    }.items():
        with pytest.raises(InputError, match=message):
            check_name(tmp_path / name)
    check_name(tmp_path / "t.csv")


# Which sweep it is.


def stopped(bench: Bench, **how: Any) -> None:
    """Run a sweep until its second row."""

    def stop(done: int, every: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        again(bench, progress=stop, **how)


def again(bench: Bench, **how: Any) -> list[Any]:
    """Run a sweep of three rows with a file and return its rows."""
    vary = how.pop("vary", {"slot.levers.wait": [0, 1, 2]})
    measure = how.pop("measure", ["cycles"])
    file = bench.folder / "t.csv"
    return list(busbox.sweep(bench, vary, measure, engine="python", jobs=1, file=file, **how).rows)


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("evening.steps", "pause 20 us", "pause 21 us"),
        ("bench.toml", 'clock = "16 MHz"', 'clock = "15 MHz"'),
        ("checks.py", "return 1", "return 2"),
    ],
)
def test_a_changed_file_is_another_sweep(tmp_path: Path, file: str, old: str, new: str) -> None:
    """Rows of the bench, its traffic or its measures as they were are not mixed with new ones."""
    measure = ["cycles", "checks.py:edges"]
    stopped(write_bench(tmp_path), measure=measure)
    text = (tmp_path / file).read_text(encoding="utf-8")
    assert old in text
    (tmp_path / file).write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError, match="is of another sweep"):
        again(Bench.load(tmp_path), measure=measure)
    (tmp_path / file).write_text(text, encoding="utf-8")
    seen: list[int] = []
    again(Bench.load(tmp_path), measure=measure, progress=lambda done, every: seen.append(done))
    assert seen == [2, 3]


def test_an_end_that_is_asked_for_is_part_of_it(tmp_path: Path) -> None:
    """With another --until the rows would be others."""
    bench = write_bench(tmp_path)
    stopped(bench)
    with pytest.raises(InputError, match="is of another sweep"):
        again(bench, until=100)


def _one(bus: Any) -> None:
    bus.write("levers.OUT", 1)


def _two(bus: Any) -> None:
    bus.write("levers.OUT", 2)
    bus.write("levers.OUT", 3)


def test_functions_of_python_are_told_apart(tmp_path: Path) -> None:
    """Traffic that is a function belongs to the sweep by its text; the table holds its name."""
    slots = {"levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}}
    bench = Bench({"clock": "1 MHz", "slot": slots, "traffic": _one}, folder=tmp_path)
    stopped(bench)

    def inner(bus: Any) -> None:
        bus.write("levers.OUT", 3)

    for traffic in (_two, inner, lambda bus: _one(bus)):
        other = Bench({"clock": "1 MHz", "slot": slots, "traffic": traffic}, folder=tmp_path)
        with pytest.raises(InputError, match="is of another sweep"):
            again(other)
    assert [row["cycles"] for row in again(bench)] == [3, 4, 5]
    found = again(bench, vary={"traffic": [_one, _two]}, measure=["accesses"])
    assert [(row["traffic"], row["accesses"]) for row in found] == [("_one", 1), ("_two", 2)]


def test_functions_without_a_name_are_told_apart(tmp_path: Path) -> None:
    """Two functions that nobody can import: the text of each is that of its sweep."""
    slots = {"levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}}

    def drive(bus: Any) -> None:
        bus.write("levers.OUT", 1)

    first = drive

    def drive(bus: Any) -> None:  # type: ignore[no-redef]
        bus.write("levers.OUT", 2)

    benches = [
        Bench({"clock": "1 MHz", "slot": slots, "traffic": traffic}, folder=tmp_path)
        for traffic in (first, drive)
    ]
    stopped(benches[0])
    with pytest.raises(InputError, match="is of another sweep"):
        again(benches[1])
    assert [row["cycles"] for row in again(benches[0])] == [3, 4, 5]


@pytest.mark.parametrize(
    "rows",
    [
        "[0, [1]]",
        '[0, {"a": [1]}]',
        '["0", {}]',
        "[true, {}]",
        "[0]",
        "{}",
        "[" * 100_000,
        "[0, null]",
    ],
)
def test_a_row_that_no_sweep_writes_is_refused(rows: str, tmp_path: Path) -> None:
    """Numbers and cells of kept rows are checked before they are believed; the file stays."""
    unfinished = tmp_path / "t.csv.unfinished"
    text = '{"sweep": "x"}\n' + rows + "\n"
    unfinished.write_text(text, encoding="ascii")
    with pytest.raises(InputError, match="is no unfinished sweep"):
        Keeping(tmp_path / "t.csv", "x")
    assert unfinished.read_text(encoding="ascii") == text


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no FIFOs here")
def test_a_fifo_is_no_unfinished_sweep(tmp_path: Path) -> None:
    """What may never end is not opened."""
    os.mkfifo(tmp_path / "t.csv.unfinished")
    with pytest.raises(InputError, match="FIFO"):
        Keeping(tmp_path / "t.csv", "x")
