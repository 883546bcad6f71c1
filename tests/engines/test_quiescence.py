"""What costs no cycles and no calls is exact: sharp cases, on the fast engines against the judge."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

import pytest
from amaranth.hdl import Module, Signal

from busbox import Recording
from busbox.basics.errors import BusboxError
from busbox.basics.units import Span
from busbox.bench.bench import Bench
from busbox.bus.hardware import Hardware, NoteReader, Registers
from busbox.cpu.steps import AccessStep, Pause, Poll, Step
from busbox.device import Declaration, Pin
from busbox.map.registers import Register, RegisterTable
from tests.engines.test_engines_agree import FAST, agree

LEVERS, TELEGRAPH, LAMPS, CLOCK = (number << 12 for number in range(4))


def read(address: int, wait: int = 0) -> AccessStep:
    return AccessStep(False, address, wait=wait)


def write(address: int, data: int, wait: int = 0) -> AccessStep:
    return AccessStep(True, address, data, wait=wait)


def cabin() -> Bench:
    """Return four devices whose registers all differ, and inputs that come in the middle of polls."""
    slots = {
        "levers": {"model": "gpio", "base": LEVERS, "size": 0x40, "compare": "31..12"},
        "telegraph": {"model": "uart", "base": TELEGRAPH, "size": 0x10, "divisor": 3},
        "lamps": {"model": "pulse_led", "base": LAMPS, "size": 0x200, "lamps": 2,
                  "high": 0x2_0001, "period": 0x5_0003, "count": 2},
        "clock": {"model": "timer", "base": CLOCK, "size": 0x20},
    }  # fmt: skip
    pulled = [{"at": at, "pin": f"levers.in.{pin}", "level": level}
              for at, pin, level in ((3, 0, 1), (4, 5, 1), (60, 1, 1), (61, 0, 0), (180, 2, 1),
                                     (400, 3, 1), (401, 3, 0))]  # fmt: skip
    line = [{"at": 75, "pin": "telegraph.rx", "bytes": "u", "rate": 333_333}]
    keys = {"clock": "1 MHz", "after_reset": "continue", "slot": slots, "input": pulled + line}
    return Bench({**keys, "reset": [{"at": 300, "length": 2}]})


def visits() -> list[Step]:
    """Return reads of each status beside reads of other words of its device, and polls."""
    steps: list[Step] = [write(LEVERS + 0x18, 0xFF), write(LEVERS, 0x5A)]
    for _ in range(3):
        for first, others in (
            (LEVERS + 0x10, (LEVERS, LEVERS + 0x14, LEVERS + 0x110, LEVERS + 0x20)),
            (LEVERS + 0x20, (LEVERS + 0x18, LEVERS + 0x10)),
            (TELEGRAPH + 4, (TELEGRAPH + 8, TELEGRAPH)),
            (LAMPS + 4, (LAMPS + 8, LAMPS + 0x10)),
            (CLOCK + 0x10, (CLOCK, CLOCK + 8)),
        ):
            for other in others:
                steps += [read(first), read(first, 1), read(other), read(first), read(other, 2)]
        steps += [write(TELEGRAPH, 0x41), write(LAMPS, 1), write(LEVERS + 0x20, 0xF)]
        steps += [Poll(TELEGRAPH + 4, 0, mask=2, every=1, limit=60)]
        steps += [Poll(LAMPS + 4, 0, mask=1, every=2, limit=120)]
        steps += [write(CLOCK + 8, 50), Poll(CLOCK + 0x10, 1, mask=1, limit=20)]
    return [*steps, Poll(LEVERS + 0x10, 8, mask=8, limit=200), read(LEVERS + 0x10)]


def compare(bench: Bench, steps: list[Step], engines: tuple[str, ...] = FAST) -> Recording:
    """Run on the judge and on other engines; return what the judge records."""
    expected = bench.run("reference", traffic=steps)
    for engine in engines:
        try:
            recording = bench.run(engine, traffic=steps)
        except BusboxError as error:
            pytest.fail(f"{engine} refuses what the judge runs: {error}")
        agree(expected, recording)
    return expected


@pytest.mark.parametrize("wait", [0, 2])
def test_a_word_that_stays_is_given_where_it_was_read_alone(wait: int) -> None:
    """Other words, images, inputs, the device's own changes and resets in between are seen."""
    values = [f"slot.{name}.wait={wait}" for name in ("levers", "telegraph", "lamps", "clock")]
    recording = compare(cabin().with_values(values), visits())
    words = {int(word) for word in recording.accesses.data[recording.accesses.write == 0]}
    assert len(words) > 12  # so they can be told apart
    assert recording.resets == ((300, 2),)


class Gong(Declaration):
    """A gong that sounds in every cycle in which its rope is pulled, and changes nothing by that."""

    table = RegisterTable(Register("WORD", 0))
    pins = (Pin("rope", "input"), Pin("hum"))


class GongNoteReader(NoteReader):
    """Reports each cycle."""

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Report it."""
        self.host.event(cycle, "gong", loud=notes["loud"])


class GongHardware(Gong, Hardware):
    """The gong: notes in cycles in which no register moves."""

    note_reader: ClassVar[type[NoteReader]] = GongNoteReader
    pin_rope: Any
    pin_hum: Any
    note_loud: Any

    @classmethod
    def note_widths(cls, settings: Mapping[str, Any]) -> dict[str, int]:
        """Return the one note."""
        return {"loud": 3}

    def build(self, m: Module, registers: Registers) -> None:
        """Join them."""
        counted = Signal(3)
        with m.If(registers.WORD.written):
            m.d.sync += counted.eq(counted + 1)
        m.d.comb += [
            self.notes_valid.eq(self.pin_rope),
            self.note_loud.eq(counted),
            self.pin_hum.eq(registers.WORD.value[0]),
        ]


def test_notes_are_told_in_every_cycle_in_which_they_are_high() -> None:
    """Cycles in which nothing moves are not run in no time while a device has something to tell."""
    slots = {"gong": {"model": GongHardware, "base": 0, "size": 4},
             "clock": {"model": "timer", "base": 0x100, "size": 0x20, "as": "hardware"}}  # fmt: skip
    rope = [{"at": at, "pin": "gong.rope", "level": level}
            for at, level in ((5, 1), (25, 0), (40, 1), (41, 0), (70, 1))]  # fmt: skip
    bench = Bench({"clock": "1 MHz", "slot": slots, "input": rope})
    for clock in ("hardware", "model"):
        timer = bench.with_values([f"slot.clock.as={clock}"])
        steps = [write(0, 1), Pause(Span(cycles=40)), write(0, 2), Pause(Span(cycles=40)), read(0)]
        recording = compare(timer, steps)
        cycles = [event.cycle for event in recording.events]
        assert cycles == [*range(5, 25), 40, *range(70, recording.cycles)]


class Ropes(Hardware):
    """Two ropes that hang high while nobody pulls them, and a word that shows them."""

    table = RegisterTable(Register("WORD", 0, "ro", width=2))
    pins = (Pin("rope.0", "input", 1), Pin("rope.1", "input", 1))
    pin_rope: Any

    def build(self, m: Module, registers: Registers) -> None:
        """Show them."""
        registers.WORD.show(self.pin_rope)


def test_pins_that_nothing_drives_keep_their_level() -> None:
    """A pin of a member is driven alone; the others stay as they are while nothing drives them."""
    slots = {"ropes": {"model": Ropes, "base": 0, "size": 4}}
    pulled = [{"at": at, "pin": f"ropes.rope.{pin}", "level": level}
              for at, pin, level in ((10, 0, 0), (20, 1, 0), (30, 0, 1))]  # fmt: skip
    bench = Bench({"clock": "1 MHz", "slot": slots, "input": pulled})
    recording = compare(bench, [read(0), *(read(0, 8) for _ in range(3))])
    assert recording.accesses.data.tolist() == [3, 2, 0, 1]


@pytest.mark.parametrize("engine", FAST)
def test_an_input_wakes_hardware_that_sleeps(engine: str) -> None:
    """In a pause that nobody looks at, an input reaches a device whose part of the design sleeps."""
    slots = {
        name: {"model": "gpio", "base": base, "size": 0x40, "as": "hardware"}
        for name, base in (("levers", 0), ("signals", 0x1000))
    }
    inputs = [{"at": at, "pin": pin, "level": 1}
              for at, pin in ((60, "levers.in.0"), (90, "signals.in.3"))]  # fmt: skip
    steps = [write(0x18, 0xFF), write(0x1018, 0xFF), Pause(Span(cycles=200)), read(0x20)]
    bench = Bench({"clock": "1 MHz", "slot": slots, "input": inputs, "traffic": steps})
    found = bench.run(engine)
    agree(bench.run("reference"), found)
    # A level from cycle c is in EVENTS, and raises the interrupt, from c + 3.
    assert found.edges("levers.interrupt")[0].tolist() == [0, 63]
    assert found.edges("signals.interrupt")[0].tolist() == [0, 93]


def test_a_pin_is_moved_by_the_access_before_and_not_by_that_of_its_cycle() -> None:
    """Of writes back to back, without a wait state, each edge has the write that ended before it."""
    slots = {"levers": {"model": "gpio", "base": 0, "size": 0x40, "as": "hardware", "wait": 0}}
    bench = Bench({"clock": "1 MHz", "slot": slots})
    recording = compare(bench, [write(0, value) for value in (1, 0, 3, 2, 1)])
    ends = recording.accesses.end.tolist()
    assert ends == list(range(ends[0], ends[0] + 5))
    line = recording.lines["levers.out.0"]
    assert line.accesses.tolist() == [-1, 0, 1, 2, 3, 4]
    assert line.cycles.tolist()[1:] == [end + 1 for end in ends]


class Passage(Hardware):
    """A pin that is as another one, whatever happens: a reset too."""

    table = RegisterTable(Register("WORD", 0))
    pins = (Pin("here", "input"), Pin("there"))
    pin_here: Any
    pin_there: Any

    def build(self, m: Module, registers: Registers) -> None:
        """Join them."""
        m.d.comb += self.pin_there.eq(self.pin_here)


def test_a_pin_that_is_high_through_a_reset_is_heard_to_fall_after_it() -> None:
    """What follows a reset is told anew, even if it looks the same: the pin's fall is an edge."""
    slots = {"passage": {"model": Passage, "base": 0, "size": 4}}
    inputs = [{"at": at, "pin": "passage.here", "level": level} for at, level in ((3, 1), (40, 0))]
    resets = [{"at": 20, "length": 3}]
    keys = {"clock": "1 MHz", "after_reset": "continue", "slot": slots, "input": inputs}
    bench = Bench({**keys, "reset": resets})
    recording = compare(bench, [write(0, 1), read(0, 30), read(0, 3)])
    assert recording.lines["passage.there"].cycles.tolist() == [0, 3, 40]
