"""Recordings in a shell of Python: tables as structured arrays, comparison, what ``repr`` shows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import busbox
from busbox.recording import COLUMNS, TABLES

pytestmark = pytest.mark.quick


@pytest.fixture(scope="module")
def light() -> busbox.Recording:
    """Return a run of first_light whose lamps have moved."""
    bench = busbox.load_bench("first_light").with_values(["slot.lamps.base=0x44010000"])
    return bench.run("python")


@pytest.fixture(scope="module")
def frames() -> busbox.Recording:
    """Return a run of first_light."""
    return busbox.load_bench("first_light").run("python")


def test_the_documented_types_are_those_of_the_arrays(light: busbox.Recording) -> None:
    """Each table has the type that TABLES says; the docstring names every column of it."""
    from busbox.recording import tables

    for name, kind in TABLES.items():
        assert light.table(name).dtype == kind
        assert f"``{name}``" in (tables.__doc__ or "")
        if name != "accesses":
            for column in kind.names:
                assert f"``{column}``" in (tables.__doc__ or "")


def test_tables_hold_what_the_recording_holds(frames: busbox.Recording) -> None:
    """Accesses, edges, characters and frames: the values of the attributes, row by row."""
    accesses = frames.table("accesses")
    for name in COLUMNS:
        assert np.array_equal(accesses[name], frames.accesses[name])
    edges = frames.table("edges")
    assert len(edges) == sum(len(line.cycles) for line in frames.lines.values())
    line = edges[edges["pin"] == "lamps.line"]
    assert np.array_equal(line["cycle"], frames.edges("lamps.line")[0])
    assert np.array_equal(line["level"], frames.edges("lamps.line")[1])
    assert np.array_equal(line, frames.table("edges", of="lamps.line"))
    assert bytes(frames.table("characters", of="telegraph")["byte"]) == b"line free\n"
    lamps = frames.table("frames")
    assert lamps["colour"].tolist() == list(frames.frames["lamps"][0].colours)
    assert lamps["lamp"].tolist() == list(range(8))
    assert set(lamps["slot"]) == {"lamps"}
    assert frames.table("marks").tolist() == list(frames.marks)


def test_findings_are_a_table(light: busbox.Recording) -> None:
    """A row a finding, with its words."""
    rows = light.table("findings")
    assert len(rows) == len(light.findings)
    assert rows[0]["message"] == light.findings[0].message
    assert (rows[0]["rule"], rows[0]["line"]) == ("unmapped-access", light.findings[0].line)


def test_a_table_is_a_copy(light: busbox.Recording) -> None:
    """To write to a table changes nothing in the recording."""
    rows = light.table("accesses")
    before = light.accesses.data.copy()
    rows["data"] += 1
    assert np.array_equal(light.accesses.data, before)


@pytest.mark.parametrize(
    ("args", "text"),
    [
        (("pins",), "there is no table 'pins'; the tables are accesses, edges, characters, frames, "
                    "marks, findings"),
        (("characters", "lamps"), "there is no slot that sends bytes 'lamps'; there are telegraph"),
        (("accesses", "lamps"), "the table accesses is not of one pin or slot, 'lamps'"),
    ],
)  # fmt: skip
def test_a_table_that_is_not_there_is_told(
    args: tuple[str, ...], text: str, light: busbox.Recording
) -> None:
    """KeyError, with the names that there are."""
    with pytest.raises(KeyError) as raised:
        light.table(*args)
    assert raised.value.args == (text,)


def test_equal_runs_are_equal_and_others_are_not(light: busbox.Recording, tmp_path: Path) -> None:
    """Every column counts; a run again, and one that was saved and loaded, is equal."""
    bench = busbox.load_bench("first_light").with_values(["slot.lamps.base=0x44010000"])
    again = bench.run("python")
    assert again == light
    assert again.findings == light.findings
    assert again.verdicts == light.verdicts
    light.save(tmp_path / "light.recording.npz")
    assert busbox.Recording.load(tmp_path / "light.recording.npz") == light
    columns = {name: light.accesses[name].copy() for name in COLUMNS}
    columns["data"][5] ^= 1
    assert replace(light, accesses=busbox.Accesses(columns)) != light
    line = light.lines["lamps.line"]
    other = replace(line, levels=line.levels ^ 1)
    assert replace(light, lines={**light.lines, "lamps.line": other}) != light
    text = light.characters["telegraph"]
    assert replace(text, bytes=text.bytes ^ 1) != text
    assert light != 5
    assert line != 5


def test_a_shell_shows_short_facts(light: busbox.Recording) -> None:
    """Bench, end, cycles and counts; never pages of arrays."""
    assert repr(light) == (
        "<Recording of first_light: done after 7,648 cycles (478 us at 16 MHz), engine python; "
        "571 accesses, 414 findings>"
    )
    assert repr(light.accesses) == (
        "<Accesses: 571, in columns start, end, address, write, lanes, data, terminator, slot, step, "
        "line, pc, expected, file>"
    )
    assert repr(light.lines["lamps.line"]) == "<Line: output, 0 edges, level 0 at the end>"
    assert repr(light.characters["telegraph"]) == "<Text: 10 bytes, 'line free\\n'>"
    assert repr(busbox.load_bench("first_light")) == (
        "<Bench first_light: clock 16 MHz, slots levers, telegraph, lamps>"
    )
    assert light.carried is not None
    assert len(repr(light.carried)) < 2000


def test_progress_is_told_in_order() -> None:
    """The cycle grows; the share goes from 0 to at most 1, and is None where nobody knows the end."""
    told: list[tuple[int, float | None]] = []
    bench = busbox.load_bench("first_light")
    bench.run("python", progress=lambda cycle, share: told.append((cycle, share)))
    assert [cycle for cycle, _ in told] == sorted(cycle for cycle, _ in told)
    assert all(share is None or 0.0 <= share <= 1.0 for _, share in told)
    told.clear()
    bench.run(
        "python",
        traffic=lambda bus: bus.write("levers.OUT", 1),
        progress=lambda cycle, share: told.append((cycle, share)),
    )
    assert told
    assert {share for _, share in told} == {None}


def test_what_progress_raises_ends_the_run() -> None:
    """A caller can give up a run."""

    def enough(cycle: int, share: float | None) -> None:
        if cycle > 100:
            raise TimeoutError("enough")

    with pytest.raises(TimeoutError, match="enough"):
        busbox.load_bench("first_light").run("python", progress=enough)
