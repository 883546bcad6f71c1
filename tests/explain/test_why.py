"""``busbox why`` names the right cause: edges of signal_cabin against a reader of their own.

The reader below knows the CSV columns, the register layout (``busbox models``) and the semantics page,
and nothing of how Busbox finds a cause: an access is raised in F + wait, it ends one cycle later
(wait = 1), and F is the cycle after that.
"""

from __future__ import annotations

import csv
import gzip
import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import busbox
from busbox.bench.bench import load_bench
from busbox.recording import Recording
from tests.cli.saying import say

CABIN = Path(busbox.__file__).parent.parent / "firmware_traces" / "signal_cabin_recorded"
LEVERS, TELEGRAPH, LAMPS = 0x4000_0000, 0x4000_1000, 0x4000_2000
OUT, SET, CLEAR = LEVERS, LEVERS + 4, LEVERS + 8
CONTROL, HIGH, PERIOD, COLOURS = LAMPS, LAMPS + 0xC, LAMPS + 0x10, LAMPS + 0x100
#: 16 MHz / 115200 baud, rounded: the reset value of DIVISOR that the bench's remark gives.
DIVISOR = 139
LAMP_COUNT, BITS, BIT = 12, 24, 20


@dataclass(frozen=True)
class Written:
    """A write of the CSV: its number among the accesses, its line, the cycle in which it ended."""

    access: int
    line: int
    end: int
    address: int
    data: int
    lanes: str


def read_writes() -> list[Written]:
    """Return the writes of the CSV with the cycles in which they end."""
    writes, free = [], 1
    path = packaged("signal_cabin.csv.gz")
    with gzip.open(path, "rt", encoding="utf-8", newline="") as file:
        for number, cycle in enumerate(csv.DictReader(file)):
            end = free + int(cycle["wait"]) + 1
            free = end + 1
            if cycle["op"] == "write":
                numbers = int(cycle["address"], 16), int(cycle["data"], 16)
                writes.append(Written(number, number + 2, end, *numbers, cycle["lanes"]))
    return writes


def packaged(name: str) -> Path:
    """Return a file of signal_cabin, in a checkout or in a wheel."""
    inside = Path(busbox.__file__).parent / "firmware_traces" / "signal_cabin_recorded"
    return (inside if inside.is_dir() else CABIN) / name


def c_line(text: str) -> int:
    """Return the number of the only line of signal_cabin.c that has this text."""
    lines = packaged("signal_cabin.c").read_text(encoding="utf-8").splitlines()
    (found,) = [number for number, line in enumerate(lines, 1) if text in line]
    return found


WRITES = read_writes()


def last(address: int, before: int) -> Written:
    """Return the last write to an address that ended before a cycle."""
    return [one for one in WRITES if one.address == address and one.end < before][-1]


def starters() -> list[Written]:
    """Return the writes that start frames: nothing but CONTROL's bit 0 while nothing is sent."""
    return [one for one in WRITES if one.address == CONTROL and one.data & 1]


@pytest.fixture(scope="module")
def cabin() -> Recording:
    """The run of signal_cabin."""
    return load_bench("signal_cabin_recorded").run("llvm")


@pytest.fixture
def _told(cabin: Recording, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the verb tell of the run that is there: it is the same run each time."""
    monkeypatch.setattr("busbox.run.undefined.replay", lambda *_, **__: cabin)


def ask(capsys: pytest.CaptureFixture[str], what: str) -> dict[str, Any]:
    """Return what ``busbox why signal_cabin WHAT --json`` prints."""
    story: dict[str, Any] = json.loads(say(capsys, "why", "signal_cabin_recorded", what, "--json"))
    return story


def parts(story: dict[str, Any], label: str) -> list[dict[str, Any]]:
    """Return the parts of a story that have a label."""
    return [part for part in story["parts"] if part["label"] == label]


def assert_names(part: dict[str, Any], written: Written, source: str) -> None:
    """A part of a story names this write, its line in the CSV, and the C line with this text."""
    assert (part["access"], part["line"]) == (written.access, written.line)
    assert (part["file"], part["source_line"]) == ("signal_cabin.c", c_line(source))
    lanes = "" if written.lanes == "1111" else f", lanes {written.lanes},"
    assert f"write of 0x{written.data:x}{lanes} to" in part["text"]
    assert f"cycle {written.end:,} " in part["text"]


def test_the_reader_and_the_run_agree_on_every_write(cabin: Recording) -> None:
    """The reader's cycles are those of the recording, so that it may be asked for causes."""
    accesses = cabin.accesses
    mine = [(one.access, one.line, one.end, one.address) for one in WRITES]
    theirs = [
        (
            number,
            int(accesses.line[number]),
            int(accesses.end[number]),
            int(accesses.address[number]),
        )
        for number in accesses.write.nonzero()[0].tolist()
    ]
    assert mine == theirs


# Lamps: (frame, lamp, bit on the wire, level after the edge). Bits 0 to 7 are green, 8 to 15 red, 16
# to 23 blue (order GRB, as the lamp string of the bench reads it), the most significant bit first.
LAMP_EDGES = (
    (0, 0, 0, 1),  # the first of all
    (0, 11, 23, 0),  # the last of the first frame
    (1, 0, 9, 0),  # a one of red
    (1, 5, 1, 1),  # a one of green
    (4, 3, 10, 1),  # yellow
    (13, 1, 16, 0),  # blue, the second train
    (13, 0, 0, 1),
    (24, 11, 9, 1),
    (30, 4, 2, 0),
    (36, 10, 8, 1),
    (37, 0, 0, 1),
    (37, 11, 23, 0),  # the last of all
)


def lamp_edge(recording: Recording, frame: int, lamp: int, bit: int, level: int) -> int:
    """Return the cycle of an edge: it is where the layout says, or the recording is not as it was."""
    start = starters()[frame].end + 1
    begins = start + (lamp * BITS + bit) * BIT
    cycles, levels = recording.edges("lamps.line")
    inside = [
        int(cycle)
        for cycle, now in zip(cycles, levels, strict=True)
        if begins <= cycle < begins + BIT and now == level and cycle > 0
    ]
    assert len(inside) == 1
    return inside[0]


@pytest.mark.usefixtures("_told")
@pytest.mark.parametrize(("frame", "lamp", "bit", "level"), LAMP_EDGES)
def test_an_edge_of_a_lamp_line_has_its_four_writes(
    frame: int,
    lamp: int,
    bit: int,
    level: int,
    cabin: Recording,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The frame's start, the lamp's colour, HIGH and PERIOD are named, and nothing else."""
    start = starters()[frame]
    # A colour counts as a read in the cycle before the lamp's first bit: a write that ended before it.
    colour = last(COLOURS + 4 * lamp, start.end + 1 + lamp * BITS * BIT - 1)
    at = lamp_edge(cabin, frame, lamp, bit, level)
    story = ask(capsys, f"lamps.line@{at}")
    assert story["cycle"] == at
    assert story["title"].startswith(f"lamps.line {'rises' if level else 'falls'} in cycle {at:,} ")
    (caused,) = parts(story, "caused by")
    assert_names(caused, start, "LED_CONTROL = 1")
    named = parts(story, "set by")
    assert len(named) == 3
    assert_names(named[0], colour, "LED_COLOUR(n) = ")
    assert_names(named[1], last(HIGH, start.end), "LED_HIGH = ")
    assert_names(named[2], last(PERIOD, start.end), "LED_PERIOD = ")
    green_red_blue = (8, 16, 0)[bit // 8]
    one = colour.data >> green_red_blue + 7 - bit % 8 & 1
    (wire,) = parts(story, "wire")
    assert f"frame {frame}, lamp {lamp}, bit {bit}: a {'one' if one else 'zero'}" in wire["text"]
    assert f"high for {12 if one else 6} cycles" in wire["text"]
    channel = ("green", "red", "blue")[bit // 8]
    assert f"{channel}'s bit {7 - bit % 8}" in named[0]["text"]


# Telegraph.


def bytes_sent(recording: Recording) -> list[tuple[int, int, Written]]:
    """Return (cycle of the start edge, byte, its write): the k-th byte is the k-th DATA write.

    A byte takes 10 bit times, and the first fall after them starts the next one.
    """
    cycles, levels = recording.edges("telegraph.tx")
    data = [one for one in WRITES if one.address == TELEGRAPH]
    free, found = 1, []
    for cycle, level in zip(cycles.tolist(), levels.tolist(), strict=True):
        if level == 0 and cycle >= free:
            found.append((cycle, data[len(found)].data & 0xFF, data[len(found)]))
            free = cycle + 10 * DIVISOR
    assert len(found) == len(data)
    return found


@pytest.mark.usefixtures("_told")
@pytest.mark.parametrize("character", [0, 1, 10, 11, 40, 82, 93])
@pytest.mark.parametrize("which", [0, 1, -1])
def test_an_edge_of_the_telegraph_has_its_byte(
    character: int, which: int, cabin: Recording, capsys: pytest.CaptureFixture[str]
) -> None:
    """First, second and last edge of a character name the DATA write that sent it, and put()."""
    start, byte, written = bytes_sent(cabin)[character]
    cycles, levels = cabin.edges("telegraph.tx")
    inside = [
        (cycle, level)
        for cycle, level in zip(cycles.tolist(), levels.tolist(), strict=True)
        if start <= cycle < start + 10 * DIVISOR
    ]
    at, level = inside[which]
    story = ask(capsys, f"telegraph.tx@{at}")
    assert story["title"].startswith(
        f"telegraph.tx {'rises' if level else 'falls'} in cycle {at:,}"
    )
    (caused,) = parts(story, "caused by")
    assert_names(caused, written, "UART_DATA = (u32)c")
    assert "put" in (*caused["inlined"], caused["function"])
    (wire,) = parts(story, "wire")
    assert f"character {character}, 0x{byte:02x}" in wire["text"]
    bit_time = (at - start) // DIVISOR
    bit = parts(story, "set by")[0]["text"]
    if 1 <= bit_time <= 8:
        assert bit == f"bit {bit_time - 1} of byte 0x{byte:02x}"
        assert byte >> bit_time - 1 & 1 == level
    else:
        assert f"{'start' if bit_time == 0 else 'stop'} bit" in bit
    assert any(
        "telegraph.DIVISOR had its reset value" in part["text"] and "139 cycles" in part["text"]
        for part in parts(story, "set by")
    )


# Levers.

#: What writes the levers, by register and lanes.
LEVER_LINES = {
    (OUT, "1111"): "GPIO_OUT = 0x1",
    (OUT, "0010"): "GPIO_OUT_B1 = (unsigned",
    (SET, "1111"): "GPIO_SET = 0x2",
    (CLEAR, "1111"): "GPIO_CLEAR = 0x3",
}


def lever_edges(pin: int) -> list[tuple[int, int, Written]]:
    """Return (cycle, level, write) of each edge of an output pin, played from the CSV alone."""
    out, found = 0, []
    for one in WRITES:
        if not LEVERS <= one.address <= CLEAR:
            continue
        before = out
        lanes = sum(0xFF << 8 * k for k in range(4) if one.lanes[3 - k] == "1")
        stored = out & ~lanes | one.data & lanes
        out = {OUT: stored, SET: out | one.data & lanes, CLEAR: out & ~(one.data & lanes)}[
            one.address
        ]
        if (before ^ out) >> pin & 1:
            found.append((one.end + 1, out >> pin & 1, one))
    return found


@pytest.mark.usefixtures("_told")
@pytest.mark.parametrize(
    ("pin", "which"),
    [(0, 0), (0, 1), (1, 0), (1, 1), (8, 0), (8, 17), (9, -1), (10, 3), (11, 0), (11, -1)],
)
def test_an_edge_of_a_lever_has_the_write_that_moved_it(
    pin: int, which: int, cabin: Recording, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whole words, one byte, SET and CLEAR: the write is the one that changed this bit."""
    at, level, written = lever_edges(pin)[which]
    story = ask(capsys, f"levers.out.{pin}@{at}")
    assert story["cycle"] == at
    assert story["title"].startswith(
        f"levers.out.{pin} {'rises' if level else 'falls'} in cycle {at:,} "
    )
    (caused,) = parts(story, "caused by")
    assert_names(caused, written, LEVER_LINES[written.address, written.lanes])
    assert caused["function"] == "main"


@pytest.mark.usefixtures("_told")
def test_a_time_between_two_edges_is_about_the_one_before(
    cabin: Recording, capsys: pytest.CaptureFixture[str]
) -> None:
    """PIN@TIME is about the last edge up to that time, in cycles and in seconds."""
    (first, _, written), (second, *_) = lever_edges(0)
    for time in (first + 1, second - 1, "1 ms", "1ms", "51000 us"):
        story = ask(capsys, f"levers.out.0@{time}")
        assert (story["cycle"], parts(story, "caused by")[0]["access"]) == (first, written.access)
        assert story["asked"] == f"levers.out.0@{time}"


def test_what_is_printed_says_the_same(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without --json, and with a run of its own, the story has the writes, their lines and the C."""
    monkeypatch.setattr("busbox.engines.preferred", lambda *_: "llvm")
    start = starters()[2]
    colour, high, period = (
        last(COLOURS + 12, start.end),
        last(HIGH, start.end),
        last(PERIOD, start.end),
    )
    at = start.end + 1 + (3 * BITS + 16) * BIT
    said = say(capsys, "why", "signal_cabin_recorded", f"lamps.line@{at}")
    assert said.startswith(f"lamps.line rises in cycle {at:,} (")
    told = re.sub(r"\s+", " ", said)
    places = [
        f"access {one.access}, write of 0x{one.data:x} to {register}" + " .*? "
        f"signal_cabin.csv.gz:{one.line}, .*?signal_cabin.c:{c_line(source)}: {re.escape(source)}"
        for one, register, source in (
            (start, "lamps.CONTROL", "LED_CONTROL = 1"),
            (colour, r"lamps.COLOUR\.3", "LED_COLOUR(n) = here"),
            (high, "lamps.HIGH", "LED_HIGH = 12u << 16 | 6u"),
            (period, "lamps.PERIOD", "LED_PERIOD = 4800u << 16 | 20u"),
        )
    ]
    assert re.search(".*?".join(places), told), told
