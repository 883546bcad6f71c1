"""Where the loop of the fast engines jumps, or stops and goes on: sharp cases against the judge."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Mapping
from typing import Any, ClassVar, Literal

import pytest
from amaranth.hdl import Module

from busbox.basics.units import Span
from busbox.bench.bench import Bench
from busbox.bus.hardware import Hardware, NoteReader, Registers
from busbox.cpu.commands import ACCESS, Command
from busbox.cpu.steps import Handler, Pause, Poll
from busbox.device import BusAccess, Pin
from busbox.engines import Stop, engine_class
from busbox.map.registers import Register, RegisterTable
from tests.engines.test_engines_agree import FAST, agree
from tests.engines.test_quiescence import GongHardware, Passage, compare, read, write
from tests.models.holder.model import Holder

EVERY = ("reference", *FAST)
GONG, HOLDER = 0, 0x100
#: Offsets of registers of the holder.
PLAIN, SLOW = HOLDER, HOLDER + 4


def rope(*levels: tuple[int, int]) -> list[dict[str, Any]]:
    """Return inputs of the gong's rope."""
    return [{"at": at, "pin": "gong.rope", "level": level} for at, level in levels]


def gong(holder: dict[str, Any] | None = None, **keys: Any) -> Bench:
    """Return a bench with a gong in hardware, which has notes in cycles in which nothing moves."""
    slots = {"gong": {"model": GongHardware, "base": GONG, "size": 4}}
    if holder is not None:
        slots["holder"] = {"model": Holder, "base": HOLDER, "size": 0x20, **holder}
    return Bench({"clock": "1 MHz", "slot": slots, **keys})


def test_a_hold_ends_with_its_access() -> None:
    """A model that held for 30 cycles, and was cut off by the watchdog, is asked in the next access."""
    slots = {"holder": {"model": Holder, "base": HOLDER, "size": 0x20, "hold": 30, "wait": 0}}
    bench = Bench({"clock": "1 MHz", "fabric": {"watchdog": 5}, "slot": slots})
    recording = compare(bench, [write(PLAIN, 7), read(SLOW), read(PLAIN), read(PLAIN)])
    # Rules 4 and 7: SLOW is raised in 2 and cut off in 2 + 5.
    assert recording.accesses.end.tolist() == [1, 7, 8, 9]
    assert recording.accesses.data.tolist() == [7, 0, 7, 7]


def test_notes_in_every_cycle_of_an_access_that_waits() -> None:
    """While a model holds an access, a hardware device beside it has its notes cycle by cycle."""
    bench = gong({"hold": 20}, input=rope((3, 1)))
    recording = compare(bench, [read(SLOW), read(GONG)])
    assert [event.cycle for event in recording.events] == list(range(3, recording.cycles))
    assert recording.cycles > 20


def test_notes_in_every_cycle_of_a_pause_in_which_a_pin_is_watched() -> None:
    """With a handler on another pin of the device, its notes are there cycle by cycle."""
    bench = gong(input=rope((5, 1), (25, 0)))
    handler = Handler("hum", "gong.hum", (read(GONG),))
    recording = compare(bench, [handler, read(GONG), Pause(Span(cycles=40))])
    assert [event.cycle for event in recording.events] == list(range(5, 25))


@pytest.mark.parametrize("length", [1, 3])
@pytest.mark.parametrize("at", [3, 19, 20, 21])
def test_pins_around_a_reset(at: int, length: int) -> None:
    """A pin that rises before, in or after the first cycle of a reset falls afterwards, once."""
    slots = {"passage": {"model": Passage, "base": 0, "size": 4}}
    inputs = [{"at": cycle, "pin": "passage.here", "level": level}
              for cycle, level in ((at, 1), (40, 0))]  # fmt: skip
    keys = {"clock": "1 MHz", "after_reset": "continue", "slot": slots, "input": inputs}
    bench = Bench({**keys, "reset": [{"at": 20, "length": length}]})
    recording = compare(bench, [read(0), Pause(Span(cycles=30)), read(0, 30), read(0)])
    assert recording.lines["passage.there"].cycles.tolist()[-1] == 40


@pytest.mark.parametrize("length", [1, 3])
def test_a_pin_that_is_high_with_notes_in_the_first_cycle_of_a_reset(length: int) -> None:
    """It falls in the next cycle, by the reset, and its edge before stays where it was."""
    keys = {"after_reset": "continue", "reset": [{"at": 20, "length": length}]}
    bench = gong(input=rope((3, 1)), **keys)
    recording = compare(bench, [write(GONG, 1), Pause(Span(cycles=40)), write(GONG, 1)])
    line = recording.lines["gong.hum"]
    # Rules 4 and 14: the write ends in 2; the CPU goes on in 20 + length + 1, with a wait state.
    assert line.cycles.tolist() == [0, 3, 21, 20 + length + 1 + 2]
    assert line.accesses.tolist() == [-1, -1, -1, -1]


class LastWrite(NoteReader):
    """Reports with each note which write to the gong was the last."""

    needed_accesses: ClassVar[Literal["last write"]] = "last write"
    last = -1

    def access(self, access: BusAccess) -> None:
        """Keep the number of a write."""
        if access.write:
            self.last = access.number

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Report it."""
        self.host.event(cycle, "gong", self.last)


class ReportingGong(GongHardware):
    """A gong that reports its last write."""

    note_reader: ClassVar[type[NoteReader]] = LastWrite


def test_of_accesses_in_between_the_last_write_is_told() -> None:
    """A read after it, or an access elsewhere, is not told in its place."""
    slots = {"gong": {"model": ReportingGong, "base": GONG, "size": 4}}
    bench = Bench({"clock": "1 MHz", "slot": slots, "input": rope((20, 1), (22, 0), (50, 1))})
    steps = [write(GONG, 1), write(GONG, 3), read(GONG), read(GONG), Pause(Span(cycles=20)),
             read(GONG), write(GONG, 5), read(GONG), Pause(Span(cycles=30))]  # fmt: skip
    recording = compare(bench, steps)
    assert [event.access for event in recording.events][:3] == [1, 1, 5]


@pytest.mark.parametrize("engine", EVERY)
@pytest.mark.parametrize("cycle", [1, 7, 20])
def test_a_run_stops_in_the_first_idle_cycle_from_which_it_is_called(
    engine: str, cycle: int
) -> None:
    """Contract of engines, 4: without a command, that is the cycle itself."""
    running = engine_class(engine)(gong().system([]), lambda slot, access: 0, {GONG: Silent()})
    stopped = running.run(30, called=cycle, idle=True)
    assert (running.cycle, stopped) == (cycle, Stop.LIMIT)
    running.run(30, idle=True)
    assert running.cycle == 30


@pytest.mark.parametrize("engine", EVERY)
def test_a_run_does_not_stop_in_the_cycle_in_which_an_access_is_raised(engine: str) -> None:
    """Contract of engines, 4: raised in 1 + 5, it is on the bus in 6, which is not idle any more."""
    running = engine_class(engine)(gong().system([]), lambda slot, access: 0, {GONG: Silent()})
    running.feed(array("q", Command(ACCESS, 0, address=GONG, lanes=15, wait=5)))
    # Rule 4: with one wait state it ends in 7.
    assert (running.run(30, called=6), running.cycle) == (Stop.STARVED, 8)


@pytest.mark.parametrize("engine", FAST)
def test_a_request_ends_with_its_access(engine: str) -> None:
    """In the pause behind it a device in hardware is asked for nothing."""
    slots = {"levers": {"model": "gpio", "base": 0, "size": 0x40, "as": "hardware", "wait": 0}}
    bench = Bench({"clock": "1 MHz", "slot": slots})
    # A pin is watched, so that the cycles are not quiet.
    handler = Handler("never", "levers.out.5", (read(0),))
    steps = [handler, write(0, 1), Pause(Span(cycles=20)), read(0), read(0)]
    recording = bench.run(engine, 60, traffic=steps)
    agree(bench.run("reference", 60, traffic=steps), recording)
    assert recording.edges("levers.out.0")[0].tolist() == [0, 2]


class Silent:
    """Hears what a hardware device does, and keeps nothing."""

    def take_pins(self, cycle: int, levels: Iterable[tuple[str, int]]) -> None:
        """Keep nothing."""

    def take_end(self, access: BusAccess) -> None:
        """Keep nothing."""

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Keep nothing."""


class Clapper(Hardware):
    """A pin that is high in the cycle in which a write ends, and one that shows the word."""

    table = RegisterTable(Register("WORD", 0))
    pins = (Pin("strike"), Pin("word"))
    pin_strike: Any
    pin_word: Any

    def build(self, m: Module, registers: Registers) -> None:
        """Join them."""
        m.d.comb += [
            self.pin_strike.eq(registers.WORD.written),
            self.pin_word.eq(registers.WORD.value[0]),
        ]


@pytest.mark.parametrize("wait", [0, 2])
@pytest.mark.parametrize("pin", ["clapper.strike", "clapper.word"])
def test_a_watched_pin_that_moves_in_the_cycle_of_an_access(pin: str, wait: int) -> None:
    """A run that stops for it before the access is raised goes on as if it had not stopped."""
    slots = {"clapper": {"model": Clapper, "base": 0, "size": 4, "wait": wait}}
    bench = Bench({"clock": "1 MHz", "slot": slots})
    handler = Handler("strike", pin, (write(0, 0), read(0)))
    steps = [
        write(0, 1),
        write(0, 3),
        write(0, 0, 2),
        read(0),
        write(0, 1, 3),
        Pause(Span(cycles=4)),
    ]
    compare(
        bench, [handler, *steps, Poll(0, 0, mask=1, every=1, limit=6), write(0, 1), write(0, 0)]
    )
