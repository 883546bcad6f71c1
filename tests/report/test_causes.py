"""The page tells the causes that ``busbox why`` tells."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox import Bench, Recording
from busbox.explain.why import Stories
from busbox.report.causes import story_facts
from busbox.report.page import pack
from tests.report.page_script import asked_of_page, needs_node

pytestmark = [pytest.mark.quick, needs_node]

#: Things of a kind that are asked about in one run, spread over it.
ASKED = 25

TELL = """
const { unpack } = modules["data.js"];
const { Run } = modules["run.js"];
const { Stories } = modules["causes.js"];
const { facts, columns } = await unpack(given.data);
const stories = new Stories(new Run(facts, columns));
const result = given.asked.map((asked) => stories.tell(asked));
"""

BENCHES = (
    "first_light", "interrupted", "night_watch", "word_lamps", "bit_banging/interrupted",
    "mistakes/addresses", "mistakes/lamp_bits", "mistakes/hasty",
    "mistakes/runaway", "mistakes/hang", "mistakes/undefined", "mistakes/rates",
)  # fmt: skip


def _spread(count: int) -> list[int]:
    step = max(1, count // ASKED)
    return sorted({*range(0, count, step), *range(max(0, count - 2), count)})


def _questions(recording: Recording) -> list[str]:
    asked = [f"access.{n}" for n in _spread(len(recording.accesses))]
    asked += [f"event.{n}" for n in _spread(len(recording.events))]
    asked += [f"finding.{n}" for n in _spread(len(recording.findings))]
    for pin, line in recording.lines.items():
        asked += [f"{pin}@{line.cycles[n]}" for n in _spread(len(line.cycles))[:ASKED]]
        asked.append(f"{pin}@{recording.cycles - 1}")
    return asked


def _compared(bench: str, folder: Path) -> tuple[list[Any], list[Any]]:
    loaded = Bench.load(bench)
    system = loaded.system()
    recording = loaded.run("python", system=system)
    asked = _questions(recording)
    stories = Stories(system, recording)
    told = [story_facts(stories.tell(one)) for one in sorted(asked, key=_in_order)]
    given = {"data": pack(system, recording), "asked": sorted(asked, key=_in_order)}
    return told, asked_of_page(TELL, given, folder)


def _in_order(asked: str) -> tuple[str, int]:
    """Return what sorts questions so that one execution of a program answers many."""
    kind, _, number = asked.replace("@", ".").rpartition(".")
    return kind, int(number)


@pytest.mark.parametrize("bench", BENCHES)
def test_the_page_tells_the_causes_of_busbox_why(bench: str, tmp_path: Path) -> None:
    """Title, cycle and every part of a story are equal: of accesses, events, findings and edges."""
    told, shown = _compared(bench, tmp_path)
    assert len(told) > 3
    for one, other in zip(told, shown, strict=True):
        assert one == other
