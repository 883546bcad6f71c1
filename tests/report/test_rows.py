"""Every number that the page shows is that of the recording."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from busbox import Bench, Recording
from busbox.basics.units import show_time
from busbox.report.packing import Columns
from busbox.report.page import pack
from busbox.report.rows import Rows, facts_of
from busbox.system.system import System
from tests.report.page_script import asked_of_page, needs_node
from tests.report.unpacked import unpacked

pytestmark = pytest.mark.quick

BENCHES = ("first_light", "interrupted", "night_watch", "word_lamps", "mistakes/addresses")


def run(bench: str) -> tuple[System, Recording]:
    """Return a system and the judged recording of its run."""
    loaded = Bench.load(bench)
    system = loaded.system()
    return system, loaded.run("python", system=system)


@pytest.mark.parametrize("bench", BENCHES)
def test_every_column_is_that_of_the_recording(bench: str) -> None:
    """Accesses, edges, bytes, frames and events, read independently, equal the recording's."""
    system, recording = run(bench)
    facts, columns = unpacked(pack(system, recording))
    accesses = recording.accesses
    for name in ("start", "write", "lanes", "data", "terminator", "line", "pc", "expected", "file"):
        assert columns[name] == accesses[name].tolist(), name
    ends = [one + length for one, length in zip(columns["start"], columns["length"], strict=True)]
    assert ends == accesses.end.tolist()
    places = [facts["places"][number]["address"] for number in columns["place"]]
    assert places == accesses.address.tolist()
    for pin, line in recording.lines.items():
        for name in ("cycles", "levels", "accesses"):
            assert columns[f"edge/{pin}/{name}"] == getattr(line, name).tolist()
    for number, one in enumerate(facts["bytes"]):
        _same_bytes(recording, one, number, columns)
    for number, one in enumerate(facts["frames"]):
        _same_frames(recording, one, number, columns)
    events = [
        (cycle, facts["devices"][device], facts["kinds"][kind], access)
        for cycle, device, kind, access in zip(
            *(columns[f"event/{name}"] for name in ("cycles", "devices", "kinds", "accesses")),
            strict=True,
        )
    ]
    assert events == [(one.cycle, one.device, one.kind, one.access) for one in recording.events]


def _same_bytes(recording: Recording, one: dict, number: int, columns: dict) -> None:
    found = [columns[f"bytes/{number}/{name}"] for name in ("cycles", "values", "accesses")]
    if one["shown"]:
        characters = recording.seen[one["label"].removesuffix(" read")].characters
        expected = [[c.cycle for c in characters], [c.value for c in characters]]
        expected.append([c.access for c in characters])
    else:
        text = recording.characters[one["slot"]]
        expected = [text.cycles.tolist(), text.bytes.tolist(), text.accesses.tolist()]
    assert found == expected


def _same_frames(recording: Recording, one: dict, number: int, columns: dict) -> None:
    if one["shown"]:
        frames = recording.seen[one["label"].removesuffix(" showed")].frames or ()
    else:
        frames = recording.frames[one["slot"]]
    of = {
        name: columns[f"frames/{number}/{name}"]
        for name in ("cycles", "accesses", "sizes", "colours")
    }
    assert of["cycles"] == [frame.cycle for frame in frames]
    assert of["accesses"] == [frame.access for frame in frames]
    assert of["sizes"] == [len(frame.colours) for frame in frames]
    assert of["colours"] == [colour for frame in frames for colour in frame.colours]


@pytest.mark.parametrize("bench", BENCHES)
def test_everything_has_a_row(bench: str) -> None:
    """Each access and each pin that moved is in exactly one row of its slot; others are named."""
    system, recording = run(bench)
    facts = facts_of(Rows(system, recording, Columns()))
    rows = [row for group in facts["groups"] for row in group["rows"]]
    assert len({row["id"] for row in rows}) == len(rows)
    places = [place for row in rows if row["kind"] == "register" for place in row["places"]]
    assert sorted(places) == list(range(len(facts["places"])))
    pins = [row["pin"] for row in rows if row["kind"] == "pin"]
    assert sorted([*pins, *facts["still"]]) == sorted(recording.lines)
    for group in facts["groups"][1:]:
        for row in group["rows"]:
            for place in row.get("places", ()):
                assert facts["places"][place]["name"].partition(".")[0] == group["name"]


def test_handlers_are_known_by_their_steps() -> None:
    """An access belongs to a handler if its step is one of the handler's, and to none else."""
    system, recording = run("interrupted")
    facts, columns = unpacked(pack(system, recording))
    (handler,) = system.new_source().handlers
    assert facts["handlers"] == [handler.name]
    assert handler.first is not None
    expected = [0 if step >= handler.first else -1 for step in recording.accesses.step.tolist()]
    assert columns["handler"] == expected
    assert set(expected) == {0, -1}


@needs_node
def test_moments_are_written_as_everywhere(tmp_path: Path) -> None:
    """The page writes a time as :func:`show_time` does, for ties between two digits too."""
    draw = random.Random(17)
    clocks = [1, 3, 32_768, 1_000_000, 16_000_000, 12_345_678, 50_000_000, 4_000_000_000]
    asked = [(cycle, clock) for clock in clocks for cycle in (0, 1, 2, 33, 165, 99_995, 999_950)]
    asked += [(draw.randrange(10 ** draw.randint(1, 12)), draw.choice(clocks)) for _ in range(3000)]
    asked += [(2 * n + 1, 16_000_000) for n in range(2000)]
    code = """
const result = given.map(([cycle, clock]) => modules["words.js"].showTime(cycle, clock));
"""
    assert asked_of_page(code, asked, tmp_path) == [show_time(*one) for one in asked]
