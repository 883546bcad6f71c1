"""The signal cabin's recorded firmware against the naive model, which shares no code with Busbox.

The traffic holds 58,479 accesses of real compiled firmware, recorded with one wait state at each
slot. What is expected comes from tests/naive.py on the same accesses, and from the recording's own
reads. Its CSV is read here by the standard library, not by the package.
"""

from __future__ import annotations

import csv
import gzip
from collections import Counter
from functools import cache
from typing import Any

import pytest

from busbox.bench.bench import Bench
from busbox.bench.find import packaged_benches
from busbox.engines.reference import ReferenceEngine
from tests import naive
from tests.against_naive import told
from tests.models.naive_device import LANES

FOLDER = packaged_benches()["signal_cabin_recorded"].parent
CUT = 40_000
LINES = [
    "cabin open",
    "train 1 clear at 429442",
    "train 2 clear at 618555",
    "train 3 clear at 807668",
    "cabin shut",
]

#: Slots of the cabin: name, device, base, settings; the naive model is told all of it by hand.
SLOTS = (
    ("levers", "gpio", 0x4000_0000, {}),
    ("telegraph", "uart", 0x4000_1000, {}),
    ("lamps", "pulse_led", 0x4000_2000, {"lamps": 12}),
    ("clock", "timer", 0x4000_3000, {}),
)
#: The registers that the firmware reads, and the one that loses bytes.
REGISTERS = {
    0x4000_0010: "levers.IN",
    0x4000_1000: "telegraph.DATA",
    0x4000_1004: "telegraph.STATUS",
    0x4000_2004: "lamps.STATUS",
    0x4000_3000: "clock.NOW",
}


@cache
def cycles() -> list[dict[str, str]]:
    """Return the cycles of the traffic file."""
    with gzip.open(FOLDER / "signal_cabin.csv.gz", "rt", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def step_of(cycle: dict[str, str]) -> dict[str, Any]:
    """Return a row as a step of the naive model."""
    step: dict[str, Any] = {
        "op": cycle["op"],
        "address": int(cycle["address"], 16),
        "lanes": int(cycle["lanes"], 2),
        "wait": int(cycle["wait"]),
    }
    if cycle["op"] == "write":
        step["data"] = int(cycle["data"], 16)
    return step


def plan(wait: int, until: int | None) -> dict[str, Any]:
    """Return the cabin as a plan for the naive model."""
    return {
        "clock_hz": 16_000_000,
        "hang_after": 1_000_000,
        "settle": 16_000_000,
        "after_reset": "restart",
        "until": until,
        "fabric": {"unanswered": "error", "watchdog": None, "registered_decode": False},
        "slots": [
            {
                "name": name,
                "device": device,
                "base": base,
                "size": 0x1000,
                "decode": "full",
                "wait": wait,
                "settings": settings,
            }
            for name, device, base, settings in SLOTS
        ],
        "steps": [step_of(cycle) for cycle in cycles()],
        "inputs": [{"cycle": 250_000, "pin": "levers.in.4", "level": 1}],
        "resets": [],
    }


def bench(wait: int) -> Bench:
    """Return the cabin's bench with other wait states."""
    return Bench.load(FOLDER).with_values([f"slot.{name}.wait={wait}" for name, *_ in SLOTS])


def counts_of(result: dict[str, Any]) -> dict[str, dict[str, int]]:
    """Return findings by rule and register, from the naive model's accesses and the CSV alone."""
    differs: Counter[str] = Counter()
    for _, _, address, write, lanes, data, terminator, _, step in result["accesses"]:
        mask = LANES[lanes]
        recorded = int(cycles()[step]["data"], 16)
        if not write and terminator == "ack" and (data ^ recorded) & mask:
            differs[REGISTERS[address]] += 1
    lost = Counter(
        REGISTERS[result["accesses"][number][2]]
        for _, _, kind, number in result["events"]
        if kind == "byte-lost"
    )
    return {
        rule: dict(found)
        for rule, found in (("read-differs", differs), ("byte-lost", lost))
        if found
    }


def compared(wait: int, until: int | None) -> tuple[Any, dict[str, Any]]:
    """Run the cabin on both sides, compare them in every respect, and return both results."""
    recording = bench(wait).run(until=until)
    theirs = naive.simulate(plan(wait, until))
    ours = told(recording)
    assert ours["accesses"] == theirs["accesses"]
    assert {pin: ours["pins"][pin] for pin in theirs["pins"]} == theirs["pins"]
    # Pins that the naive model does not have (requests of interrupts): the cabin uses none of them.
    others = [moves for pin, moves in ours["pins"].items() if pin not in theirs["pins"]]
    assert all(len(moves) == 1 for moves in others)
    assert ours["texts"] == theirs["texts"]
    assert ours["frames"] == theirs["frames"]
    assert ours["events"] == sorted(theirs["events"])
    for name, registers in theirs["registers"].items():
        assert {key: ours["registers"][name][key] for key in registers} == registers
    assert (ours["cycles"], ours["ended"]) == (theirs["cycles"], theirs["ended"])
    assert recording.counts == counts_of(theirs)
    return recording, theirs


@pytest.mark.parametrize("wait", [0, 1, 2])
def test_the_first_milliseconds_equal_the_naive_model(
    wait: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Up to cycle 40,000 accesses, edges, text, frames and findings equal the naive model's."""
    # Source of the expected values: tests/naive.py. The ports are not watched here, for speed; in
    # the whole recording below they are, with the recorded wait.
    monkeypatch.setattr(ReferenceEngine, "watch_ports", False)
    recording, _ = compared(wait, CUT)
    assert (recording.cycles, recording.ended) == (CUT, "until")
    assert len(recording.accesses) > 2500
    assert recording.texts["telegraph"] == ("cain open\n" if wait == 0 else "cabin open\n")
    assert ("byte-lost" in recording.counts) == (wait == 0)
    assert ("read-differs" in recording.counts) == (wait != 1)
    assert len(recording.frames["lamps"]) == 1


@pytest.mark.long
@pytest.mark.parametrize("wait", [0, 1, 2])
def test_the_whole_recording_equals_the_naive_model(
    wait: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All 58,479 accesses run as in the naive model, and only wait 1 repeats the recording."""
    # Source of the expected values: tests/naive.py, and the reads in the recording itself.
    monkeypatch.setattr(ReferenceEngine, "watch_ports", wait == 1)
    recording, _ = compared(wait, None)
    assert len(recording.accesses) == len(cycles()) == 58_479
    assert recording.ended == "done"
    assert set(recording.accesses.terminators) == {"ack"}
    assert len(recording.frames["lamps"]) == 38
    if wait == 1:
        assert recording.findings == ()
        assert recording.counts == {}
        reads = [n for n, cycle in enumerate(cycles()) if cycle["op"] == "read"]
        recorded = [int(cycles()[n]["data"], 16) for n in reads]
        assert recording.accesses.data[reads].tolist() == recorded
    else:
        assert sum(recording.counts["read-differs"].values()) > 0
        assert ("byte-lost" in recording.counts) == (wait == 0)
    if wait == 0:
        assert recording.texts["telegraph"] != "".join(line + "\n" for line in LINES)
    else:
        assert recording.texts["telegraph"].splitlines() == LINES
