"""What is attached to pins: levels, a switch, a terminal, somebody's own class, a capture as input."""

from __future__ import annotations

import inspect
import textwrap
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

import busbox.board.attachment
from busbox import InputError, Recording
from busbox.board.attachment import Board, Decoder, Driver, LineReport
from busbox.board.duty import Level
from busbox.cli import main
from busbox.lines.wave import Wave
from busbox.recording import Line
from tests.board.attached import CLOCK_HZ, bench_of, run, sender, sending, slot, string
from tests.recording.test_recording import same

pytestmark = pytest.mark.quick

CAPTURE = Path(__file__).parent.parent / "lines" / "captures" / "uart_115200_8n1.csv"


# A switch.


def turned(clock: str, **keys: Any) -> list[tuple[int, int]]:
    """Return the (cycle, level) of a lever that a switch drives, until 2 ms."""
    found = run(
        lambda bus: bus.pause("2 ms"),
        {"levers": slot("gpio", width=8)},
        {"lever": {"kind": "switch", "pin": "levers.in.4", **keys}},
        clock=clock,
    )
    cycles, levels = found.edges("levers.in.4")
    return list(zip(cycles.tolist(), levels.tolist(), strict=True))


def naive_turns(
    hertz: int, turns: list[Fraction], level: int, bounce: Fraction, bounces: int
) -> list[tuple[int, int]]:
    """Return the same from the rule: t + k B / (2 N) for k = 0 to 2 N, each rounded up to a cycle."""
    found = [(0, level)]
    for turn in turns:
        for k in range(2 * bounces + 1 if bounce else 1):
            exact = (turn + (Fraction(k) * bounce / (2 * bounces) if bounce else 0)) * hertz
            cycle = int(exact) + (exact != int(exact))
            level = 1 - level
            found.append((cycle, level))
    return found


@pytest.mark.parametrize("level", [0, 1])
def test_a_switch_changes_at_its_turns(level: int) -> None:
    """Without bounce, each turn gives the other level, in the first cycle that is not before it."""
    turns = [Fraction(10, 10**6), Fraction(20_030, 10**9), Fraction(1, 10**3)]
    texts = ["10 us", "20.03 us", "1 ms"]
    expected = naive_turns(16_000_000, turns, level, Fraction(0), 1)
    assert expected[2] == (321, level)  # 320.48 cycles
    assert turned("16 MHz", turns=texts, level=level, bounces=7) == expected


@pytest.mark.parametrize(("bounce", "bounces"), [("100 us", 4), ("70 us", 1), ("33.3 us", 7)])
def test_a_contact_bounces_evenly(bounce: str, bounces: int) -> None:
    """The contact changes 2 N + 1 times a turn, evenly in its time, each rounded up to a cycle."""
    length = Fraction(bounce.removesuffix(" us")) / 10**6
    turns = [Fraction(1, 10**4), Fraction(6, 10**4)]
    expected = naive_turns(7_000_000, turns, 1, length, bounces)
    assert len(expected) == 1 + 2 * (2 * bounces + 1)
    seen = turned("7 MHz", turns=["100 us", "600 us"], level=1, bounce=bounce, bounces=bounces)
    assert seen == expected


def test_turns_and_bounces_may_be_cycles() -> None:
    """Times of a switch without a unit are cycles: 50, then 5 more edges over 6 cycles, rounded up."""
    seen = turned("16 MHz", turns=[50], bounce=6, bounces=2)
    assert seen == [(0, 0), (50, 1), (52, 0), (53, 1), (55, 0), (56, 1)]


def test_a_bounce_of_a_cycle_each_is_as_short_as_it_can_be() -> None:
    """2 N cycles hold N bounces, each change in a cycle of its own; one cycle less is refused."""
    seen = turned("16 MHz", turns=[5], bounce=4, bounces=2)
    assert seen == [(0, 0), (5, 1), (6, 0), (7, 1), (8, 0), (9, 1)]
    with pytest.raises(
        InputError,
        match="bounce must leave at least one cycle between changes of the contact; two fall",
    ):
        turned("16 MHz", turns=[5], bounce=3, bounces=2)


@pytest.mark.parametrize(("bounce", "rises"), [("80 us", 5), ("0 us", 1)])
def test_events_count_what_bounces(bounce: str, rises: int) -> None:
    """Firmware that counts EVENTS of one turn finds a rise for each bounce and one for the turn."""
    counted = []

    def firmware(bus: Any) -> None:
        bus.write("levers.RISE", 1 << 4)
        for _ in range(100):
            bus.pause("2 us")
            kept = bus.read("levers.EVENTS")
            bus.write("levers.EVENTS", kept)
            counted.append(kept)

    run(
        firmware,
        {"levers": slot("gpio", width=8)},
        {
            "lever": {
                "kind": "switch", "pin": "levers.in.4", "turns": ["30 us"], "bounce": bounce,
                "bounces": 4,
            }
        },
    )  # fmt: skip
    assert [kept for kept in counted if kept] == [1 << 4] * rises


# A level.


def naive_level(levels: list[int], on: int) -> dict[str, int | None]:
    """Return what a level must show, cycle by cycle; 2 is a pin that nobody drives."""
    shown: list[int] = []
    for level in levels:
        if level != 2:
            shown.append(level)
        elif shown:
            shown.append(shown[-1])
    runs = [(level, len(list(group))) for level, group in groupby(shown)]
    lengths = [length for level, length in runs[:-1] if level == on]
    return {
        "times_on": sum(level == on for level, _ in runs),
        "ticks_on": shown.count(on),
        "ticks": len(shown),
        "shortest": min(lengths, default=None),
        "longest": max(lengths, default=None),
        "level": shown[-1] if shown else None,
    }


@given(st.lists(st.integers(0, 2), min_size=1, max_size=40), st.integers(0, 1))
def test_a_level_counts_as_one_would_by_hand(levels: list[int], on: int) -> None:
    """Times, cycles, shortest and longest are those of a count from one cycle to the next."""
    cycles = [0] + [n for n in range(1, len(levels)) if levels[n] != levels[n - 1]]
    column = np.array(cycles)
    line = Line("output", column, np.array(levels)[column], np.full(len(column), -1))
    wave = Wave.of_line(line, CLOCK_HZ, len(levels))
    report = Level(Board(CLOCK_HZ, {}), on=on).decode(wave)
    assert report.facts == naive_level(levels, on)


@pytest.mark.parametrize("on", [0, 1])
def test_a_level_shows_an_output_that_is_released(on: int) -> None:
    """At a pin of a bench, released while it is 1, counts are those of the pin, cycle by cycle."""

    def firmware(bus: Any) -> None:
        bus.write("levers.OUT", 1)
        bus.write("levers.ENABLE", 0, wait=10)
        bus.write("levers.OUT", 0, wait=10)
        bus.write("levers.ENABLE", 1, wait=10)
        bus.pause(30)

    lamp = {"kind": "level", "pin": "levers.out.0", "on": on}
    found = run(firmware, {"levers": slot("gpio", width=8)}, {"lamp": lamp})
    line = found.lines["levers.out.0"]
    assert 2 in line.levels.tolist()
    lengths = np.diff(line.cycles, append=found.cycles)
    facts = naive_level(np.repeat(line.levels, lengths).tolist(), on)
    assert found.seen["lamp"].facts == facts
    share = 100 * (facts["ticks_on"] or 0) / found.cycles
    rows = dict(found.seen["lamp"].rows)
    assert rows["on"] == f"{'once' if on else '2 times'}, {share:.1f} % of the time"
    assert rows["at the end"] == ("off" if on else "on")


# A terminal.


@example(b"A\xff\x00", 16)
@given(st.binary(min_size=1, max_size=6), st.integers(1, 60))
@settings(max_examples=15, deadline=None)
def test_a_terminal_reads_what_was_sent(sent: bytes, divisor: int) -> None:
    """Text, starts and accesses at a uart's tx are those of the bytes, at any divisor."""

    def firmware(bus: Any) -> None:
        for byte in sent:
            bus.poll("telegraph.STATUS", 1, mask=1, every=20)
            bus.write("telegraph.DATA", byte)

    text = sent.decode("latin-1")
    found = run(
        firmware,
        {"telegraph": slot("uart", divisor=divisor)},
        {"paper": {"kind": "terminal", "pin": "telegraph.tx", "baud": CLOCK_HZ / divisor}},
        expect=[{"text": {"of": "paper", "is": text}}, {"text": {"of": "paper", "is": text + "!"}}],
    )
    seen = found.seen["paper"]
    assert (seen.text, seen.facts["bytes"]) == (text, list(sent))
    assert [one.met for one in found.verdicts] == [True, False]
    writes = np.flatnonzero(found.accesses.write).tolist()
    assert [one.access for one in seen.characters] == writes
    # A byte's text counts in the last cycle of its stop bit: ten bits after the start edge, less one.
    ends = [one.cycle + 10 * divisor - 1 for one in seen.characters]
    assert ends == found.characters["telegraph"].cycles.tolist()
    assert found.findings == ()


def test_another_rate_is_a_baud_error_by_the_write_of_the_first_byte() -> None:
    """Read at twice the rate, the line is told once, with its rate and two low stop bits."""

    def firmware(bus: Any) -> None:
        for _ in range(2):
            bus.write("telegraph.DATA", 0x01)
            bus.pause(400)

    found = run(
        firmware,
        {"telegraph": slot("uart", divisor=16)},
        {"paper": {"kind": "terminal", "pin": "telegraph.tx", "baud": 2_000_000}},
    )
    (finding,) = found.findings
    first = int(found.edges("telegraph.tx")[0][1])
    # Ten bits of 16 cycles, less one.
    assert (finding.rule, finding.cycle, finding.access) == ("baud-error", first + 159, 0)
    assert found.counts == {"baud-error": {"paper": 1}}
    assert (finding.slot, finding.register) == ("telegraph", "tx")
    # One tick in nine bits of 16 cycles: 1 / 143.
    assert finding.message == (
        "paper: the line runs at 1,000,000 baud +-0.7 %, 50.00 % below the 2,000,000 baud it is "
        "decoded at: a bit lasts 16 cycles, not 8; 2 characters have no stop bit and cannot be shown."
    )
    assert finding.hint == (
        'Use the same rate at both ends: a divisor of 8 cycles (busbox baud "16 MHz" 2000000), or baud '
        "= 1000000 here. Set telegraph.DIVISOR 8 (now 16)."
    )
    assert found.seen["paper"].text == ""


def test_framing_is_blamed_on_the_byte_that_began_it() -> None:
    """With the right rate and a stop bit too many, the byte without it is told by its own write."""

    def firmware(bus: Any) -> None:
        bus.write("telegraph.DATA", 0xFF)
        bus.poll("telegraph.STATUS", 1, mask=1, every=1)
        bus.write("telegraph.DATA", 0x01)

    found = run(
        firmware,
        {"telegraph": slot("uart", divisor=16)},
        {"paper": {"kind": "terminal", "pin": "telegraph.tx", "baud": 1_000_000, "format": "8N2"}},
    )
    line = found.lines["telegraph.tx"]
    (finding,) = found.findings
    # The second stop bit lies in clocks 160 to 175, where the second byte begins.
    assert (finding.rule, finding.cycle, finding.access) == (
        "framing", int(line.cycles[1]) + 175, 0,
    )  # fmt: skip
    assert line.accesses[line.cycles <= finding.cycle][-1] > 0


# Somebody's own.

DRIVER = '''\
from busbox.board.attachment import Driver
from busbox.device import Setting


class Pendulum(Driver):
    """Swings: a level that changes after every so many cycles."""

    settings = (Setting("swing", 50, low=1), Setting("times", 4, low=0))

    def drive(self):
        for number in range(self.options["times"] + 1):
            yield number * self.options["swing"], number % 2
'''
DECODER = '''\
from busbox.board.attachment import LineReport, Decoder, LineFinding


class Gong(Decoder):
    """Counts its strokes; a third one is an error."""

    sends = ("text",)

    def decode(self, wave):
        rises = wave.times[1::2].tolist()
        cracks = [LineFinding("framing", rises[2], lambda: ("It cracks.", "Strike less."))]
        return LineReport([("strokes", str(len(rises)))], {"at": tuple(rises)}, "dong" * len(rises),
                     findings=cracks[: len(rises) // 3])
'''
OWN_BENCH = """\
clock = "1 MHz"
[slot.levers]
model = "gpio"
base = 0x1000
size = 0x1000
width = 4
[attach.clockwork]
kind = "own.py:Pendulum"
pin = "levers.in.2"
swing = 30
[attach.gong]
kind = "own.py:Gong"
pin = "levers.out.0"
[attach.bell]
kind = "own.py:Bell"
pin = "levers.out.1"
shortest = "20 us"
[[expect]]
text = { of = "gong", is = "dongdongdong" }
[traffic]
file = "day.steps"
"""
STEPS = "".join(
    f"pause 10\nwrite levers.OUT {level:#x}\n" for level in (1, 2, 1, 0, 3, 2)
) + "pause 40\nwrite levers.OUT 0\nawait levers.in.2 0 limit 200\n"  # fmt: skip


def contracts_example() -> str:
    """Return the decoder that the contract's own docstring holds, with its imports."""
    text = inspect.getdoc(busbox.board.attachment) or ""
    example = textwrap.dedent(text.split("A decoder of ten lines::\n")[1])
    return (
        "from busbox.board.attachment import LineReport, Decoder\nfrom busbox.lines.wave import Wave\n"
        f"from busbox.device import Setting\nfrom busbox.basics.units import parse_span\n\n{example}"
    )


def test_classes_beside_the_bench_decode_and_drive(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The summary shows what classes of a file decoded, the contract's example among them."""
    (tmp_path / "own.py").write_text(DRIVER + DECODER + contracts_example(), encoding="utf-8")
    (tmp_path / "bench.toml").write_text(OWN_BENCH, encoding="utf-8")
    (tmp_path / "day.steps").write_text(STEPS, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["run", str(tmp_path)])
    assert ended.value.code == 0
    shown = capsys.readouterr().out
    assert "Attached: gong, own.py:Gong at levers.out.0\n  strokes  3\n" in shown
    assert "gong: It cracks.\n" in shown
    assert "try: Strike less.\n" in shown
    # Bit 1 is high for 12, and for 12 + 12 + 42 cycles: one of two is counted.
    assert "Attached: bell, own.py:Bell at levers.out.1\n  strokes  1\n" in shown
    found = busbox.load_bench(tmp_path).run(engine="python")
    cycles, levels = found.edges("levers.in.2")
    assert (cycles.tolist(), levels.tolist()) == ([0, 30, 60, 90, 120], [0, 1, 0, 1, 0])
    assert found.verdicts[0].met
    assert found.seen["gong"].facts == {"at": found.edges("levers.out.0")[0][1::2].tolist()}
    (finding,) = found.findings
    access = int(found.lines["levers.out.0"].accesses[5])
    assert (finding.cycle, finding.access) == (int(found.edges("levers.out.0")[0][5]), access)


class Clapper(Decoder):
    """Hears how often its pin moves."""

    def decode(self, wave: Wave) -> LineReport:
        """Return the edges after the first level."""
        return LineReport([("strokes", str(len(wave.times) - 1))], {"strokes": len(wave.times) - 1})


class Weight(Driver):
    """Falls once."""

    def drive(self) -> Any:
        """Yield its levels."""
        yield from [(0, 1), (7, 0)]


def test_a_kind_may_be_a_class() -> None:
    """From Python, a kind is a class, and the recording and the summary call it by its name."""

    def firmware(bus: Any) -> None:
        for level in (1, 0, 1):
            bus.write("levers.OUT", level)

    found = run(
        firmware,
        {"levers": slot("gpio", width=2)},
        {
            "gong": {"kind": Clapper, "pin": "levers.out.0"},
            "weight": {"kind": Weight, "pin": "levers.in.0"},
        },
    )
    seen = found.seen["gong"]
    assert (seen.kind, seen.pin, seen.facts) == ("Clapper", "levers.out.0", {"strokes": 3})
    assert list(found.seen) == ["gong"]
    cycles, levels = found.edges("levers.in.0")
    assert (cycles.tolist(), levels.tolist()) == ([0, 7], [1, 0])


# A capture as input.


def received(count: int, **keys: Any) -> tuple[str, Recording]:
    """Return what firmware receives of a capture that is played at its telegraph."""
    got: list[int] = []

    def firmware(bus: Any) -> None:
        for _ in range(count):
            bus.poll("telegraph.STATUS", 4, mask=4, every=40)
            got.append(bus.read("telegraph.DATA") & 0xFF)

    found = run(
        firmware,
        {"telegraph": slot("uart", divisor=139)},
        {},
        input=[{"at": "10 us", "pin": "telegraph.rx", "capture": str(CAPTURE), **keys}],
    )
    return bytes(got).decode("latin-1"), found


def test_a_capture_is_played_to_the_firmware() -> None:
    """A capture of a real line at 115200 baud gives the firmware the bytes that were sent on it."""
    # The text is that of the capture's own description, tests/lines/captures/README.md.
    text, found = received(42)
    assert text == "Hello World!\r\n" * 3
    assert found.counts == {}
    rows = [row.split(",") for row in CAPTURE.read_text(encoding="utf-8").splitlines()[1:]]
    exact = [Fraction(int(time), 10**9) * CLOCK_HZ for time, _ in rows]
    edges = [(160 + -(-one // 1), int(level)) for one, (_, level) in zip(exact, rows, strict=True)]
    cycles, levels = found.edges("telegraph.rx")
    known = [(cycle, level) for cycle, level in edges if cycle < found.cycles]
    # Before the capture the line rests at 1, as its first level.
    assert list(zip(cycles.tolist(), levels.tolist(), strict=True)) == [(0, 1), *known[1:]]


def test_a_capture_begins_where_the_input_says(tmp_path: Path) -> None:
    """The first time of a capture falls into the input's cycle, each later one is rounded up."""
    (tmp_path / "line.csv").write_text(
        "time_ns,tx,rx\n1000,1,0\n1100,0,1\n1250,1,0\n", encoding="utf-8"
    )
    found = run(
        lambda bus: bus.pause(200),
        {"telegraph": slot("uart", divisor=139)},
        {},
        input=[
            {
                "at": 40, "pin": "telegraph.rx", "line": "rx",
                "capture": str(tmp_path / "line.csv"),
            }
        ],
    )  # fmt: skip
    # 100 ns are 1.6 cycles, 250 ns are 4; the line rests at 1 before.
    cycles, levels = found.edges("telegraph.rx")
    assert (cycles.tolist(), levels.tolist()) == ([0, 40, 42, 44], [1, 0, 1, 0])


# All together.


def everything() -> busbox.Bench:
    """Return a bench with an attachment of each kind that comes with Busbox."""

    def firmware(bus: Any) -> None:
        bus.write("telegraph.DATA", 0x01)
        sending((0x102030, 0x405060))(bus)
        bus.write("levers.OUT", 1)
        bus.pause("100 us")

    return bench_of(
        firmware,
        {
            "levers": slot("gpio", 1, width=8),
            "telegraph": slot("uart", 2, divisor=16),
            "lamps": sender(3, lamps=2, count=2),
        },
        {
            "lever": {
                "kind": "switch", "pin": "levers.in.1", "turns": ["20 us"], "bounce": "10 us",
            },
            "lamp": {"kind": "level", "pin": "levers.out.0"},
            "paper": {"kind": "terminal", "pin": "telegraph.tx", "baud": 1_000_000},
            "torn": {"kind": "terminal", "pin": "telegraph.tx", "baud": 2_000_000},
            "string": string(count=2, order="RGB", channel_current="16.1 mA"),
        },
        supply="20 mA",
    )  # fmt: skip


def test_what_was_seen_survives_the_file(tmp_path: Path) -> None:
    """A recording with attachments of every kind is the same after it was saved and loaded."""
    found = everything().run(engine="python")
    assert list(found.seen) == ["lamp", "paper", "torn", "string"]
    assert set(found.counts) == {"baud-error", "colour-order", "supply-current"}
    found.save(tmp_path / "evening.recording.npz")
    same(Recording.load(tmp_path / "evening.recording.npz"), found)


def test_the_engines_agree_on_what_was_seen() -> None:
    """Whatever attachments understood and found is the same with each engine."""
    runs = [everything().run(engine=name) for name in ("python", "llvm", "reference")]
    assert runs[0].seen["paper"].text == "\x01"
    for one in runs[1:]:
        assert one.seen == runs[0].seen
        assert (one.findings, one.notes) == (runs[0].findings, runs[0].notes)
