"""The base classes for models in Python, and what the replay loop does with a model."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from typing import Any

import pytest

import busbox.device.bases
from busbox.basics.errors import ModelError
from busbox.bench.bench import Bench
from busbox.device import (
    ERROR,
    NO_ACCESS,
    RELEASED,
    Answer,
    BusAccess,
    CycleModel,
    Hold,
    Host,
    Pin,
    RegisterModel,
    Write,
)
from busbox.map.registers import Field, Register, RegisterTable
from busbox.models.gpio import Gpio
from busbox.models.memory import Memory
from busbox.models.pulse_led import PulseLed
from busbox.models.timer import Timer
from busbox.models.uart import Uart
from busbox.recording import Recording
from tests.models.driving import ALL, BASE, WAITS, Drive, edges, events, reads

pytestmark = pytest.mark.quick

waits = pytest.mark.parametrize("wait", WAITS)


# The example in the docstring of busbox.device.bases.


def _bell_lines() -> list[str]:
    """Return the lines of the example: the indented block that begins with its class."""
    lines = (busbox.device.bases.__doc__ or "").split("\n")
    first = lines.index("    class Bell(RegisterModel):")
    block = []
    for line in lines[first:]:
        if line and not line.startswith("    "):
            break
        block.append(line)
    return textwrap.dedent("\n".join(block)).strip().split("\n")


def _bell() -> Any:
    names: dict[str, Any] = {
        "RegisterModel": RegisterModel, "RegisterTable": RegisterTable, "Register": Register,
        "Field": Field, "Pin": Pin, "Write": Write,
    }  # fmt: skip
    exec("\n".join(_bell_lines()), names)
    return names["Bell"]


def test_the_bell_is_about_20_lines() -> None:
    """The example has 15 to 22 lines that are not empty."""
    assert 15 <= len([line for line in _bell_lines() if line.strip()]) <= 22


@waits
def test_the_bell_rings(wait: int) -> None:
    """STRIKE = 3 written in e = 6: the hammer is 1 in the cycles 7 to 9, STATUS too; rest in 10."""
    drive = Drive(_bell(), wait).write(6, "STRIKE", 3)
    assert [drive.shows("STATUS", cycle) for cycle in (6, 7, 9, 10)] == [0, 1, 1, 0]
    recording = drive.run()
    assert edges(recording, "hammer") == [(0, 0), (7, 1), (10, 0)]
    assert recording.lines["dev.hammer"].accesses.tolist() == [NO_ACCESS, 0, 0]
    assert (recording.cycles, recording.ended) == (11, "done")


@waits
@pytest.mark.parametrize(("again", "rings"), [(9, False), (10, True)])
def test_the_bell_does_not_ring_while_it_rings(wait: int, again: int, rings: bool) -> None:
    """A strike in the last ringing cycle 9 does nothing; one in cycle 10 rings in cycle 11."""
    recording = Drive(_bell(), wait).write(6, "STRIKE", 3).write(again, "STRIKE", 1).run()
    more = [(11, 1), (12, 0)] if rings else []
    assert edges(recording, "hammer") == [(0, 0), (7, 1), (10, 0), *more]


@waits
def test_a_reset_silences_the_bell(wait: int) -> None:
    """RST in cycle 8 cuts the ring: hammer and STATUS are 0 from cycle 9 on, and it rings again."""
    drive = Drive(_bell(), wait, resets=[(8, 1)]).write(6, "STRIKE", 30)
    assert [drive.shows("STATUS", cycle) for cycle in (8, 9)] == [1, 0]
    recording = drive.write(14, "STRIKE", 2).run()
    assert edges(recording, "hammer") == [(0, 0), (7, 1), (9, 0), (15, 1), (17, 0)]


@waits
def test_the_bell_takes_its_declaration(wait: int) -> None:
    """STRIKE is write-only and 16 bits wide, STATUS read-only, and the rest are holes."""
    drive = Drive(_bell(), wait).write(4, "STRIKE", 0xFFFF_0002).read(9, "STRIKE")
    drive.write(12, "STATUS", 0xFFFF_FFFF).read(15, "STATUS").read(18, 0x08)
    recording = drive.run()
    assert reads(recording) == {9: 0, 15: 0, 18: 0}
    assert edges(recording, "hammer") == [(0, 0), (5, 1), (7, 0)]


# RegisterModel: rights, and hooks of cycles.


class Panel(RegisterModel):
    """Every right in one register, and a row of registers with hooks."""

    table = RegisterTable(
        Register(
            "MIXED", 0x00, "rw", "Each right in a byte of its own.",
            (
                Field("KEPT", 3, 0, reset=0x5), Field("SHOWN", 11, 8, "ro", reset=0x6),
                Field("DEAF", 19, 16, "wo", reset=0x7), Field("RUNG", 27, 24, "ones_clear", 0xF),
                Field("ACT", 31, 28, "ones_act"),
            ),
        ),
        Register("SEEN", 0x04, "ro", "Reads of CYCLE so far: a digit for each register."),
        Register("CYCLE", 0x10, "rw", "Three registers.", count=3, reset=0x20),
        Register("PAIR", 0x20, "rw", "Takes effect only with both low lanes.", whole=0b0011),
    )  # fmt: skip
    seen = 0

    def show_SEEN(self) -> int:
        return self.seen

    def show_CYCLE(self, index: int) -> int:
        return self.stored[f"CYCLE.{index}"] + index

    def read_CYCLE(self, index: int, number: int) -> None:
        self.seen += 1 << 4 * index

    def write_CYCLE(self, write: Write) -> None:
        self.host.event(
            write.cycle, "cycle", write.number, index=write.index, was=write.before, now=write.value
        )

    def write_MIXED(self, write: Write) -> None:
        self.host.event(write.shows, "ones", write.number, ones=write.ones, value=write.value)


@waits
@pytest.mark.parametrize(
    ("data", "lanes", "shown"),
    [
        # Only KEPT, SHOWN and RUNG can be read: reset word 0x0F000605 without DEAF's 7.
        (0x0000_0000, ALL, 0x0F00_0600),
        (0xFFFF_FFFF, ALL, 0x0000_060F),
        (0xFFFF_FFFF, 0b0001, 0x0F00_060F),
        (0xFFFF_FFFF, 0b1000, 0x0000_0605),
        (0x0300_000A, ALL, 0x0C00_060A),
        (0x0300_000A, 0b0111, 0x0F00_060A),
    ],
)
def test_each_right_does_what_its_sentence_says(
    wait: int, data: int, lanes: int, shown: int
) -> None:
    """A write changes rw fields by lanes, clears ones, leaves ro alone; wo and acts read 0."""
    drive = Drive(Panel, wait).write(6, "MIXED", data, lanes)
    assert [drive.shows("MIXED", cycle) for cycle in (6, 7, 8)] == [0x0F00_0605, shown, shown]


@waits
def test_a_write_tells_its_ones_and_its_value(wait: int) -> None:
    """A hook sees the word now stored, and the ones of writable bits in selected lanes."""
    recording = Drive(Panel, wait).write(6, "MIXED", 0xFFFF_FFFF, 0b1001).run(upto=8)
    event = recording.events[0]
    # Lanes 0 and 3: KEPT, RUNG and ACT; stored: KEPT F, DEAF's and SHOWN's reset, RUNG cleared.
    assert (event.cycle, event.kind, event.access) == (7, "ones", 0)
    assert event.details == {"ones": 0xFF00_000F, "value": 0x0007_060F}


@waits
def test_hooks_of_a_cycle_get_the_index(wait: int) -> None:
    """CYCLE n shows 0x20 + n by its hook; reads count in SEEN from the next cycle; writes tell n."""
    drive = (
        Drive(Panel, wait)
        .read(4, "CYCLE.0")
        .read(7, "CYCLE.2")
        .read(10, "CYCLE.2")
        .read(13, "SEEN")
    )
    recording = drive.write(16, "CYCLE.1", 0x99, 0b0001).read(19, "CYCLE.1").run()
    assert reads(recording) == {4: 0x20, 7: 0x22, 10: 0x22, 13: 0x201, 19: 0x9A}
    assert recording.events[0].details == {"index": 1, "was": 0x20, "now": 0x99}


@waits
@pytest.mark.parametrize("lanes", [0b0001, 0b0010, 0b1100, 0b0011, 0b1111])
def test_a_whole_register_wants_all_its_lanes(wait: int, lanes: int) -> None:
    """A write of PAIR without both low lanes does nothing at all."""
    drive = Drive(Panel, wait).write(6, "PAIR", 0x1234_5678, lanes)
    shown = {0b0011: 0x5678, 0b1111: 0x1234_5678}.get(lanes, 0)
    assert drive.shows("PAIR", 8) == shown


# CycleModel.


class Treadle(CycleModel):
    """Counts LEFT down to 0, one a cycle: the arm is up meanwhile, and then STATUS is set."""

    table = RegisterTable(
        Register("LEFT", 0x00, "rw", "Cycles left."),
        Register("STATUS", 0x04, "ones_clear", "What has happened.", (Field("DONE", 0, 0),)),
        Register("TICKS", 0x08, "ro", "Ticks so far."),
        Register("SAW", 0x0C, "ro", "LEFT as the last tick saw it."),
    )
    pins = (Pin("arm"),)
    ticks = 0
    saw = 0

    def tick(self, cycle: int) -> None:
        assert cycle == self.cycle
        self.ticks += 1
        self.saw = left = self.stored["LEFT"]
        if left:
            self.stored["LEFT"] = left - 1
            self.drive("arm", int(left > 1))
            if left == 1:
                self.raise_bits("STATUS", 1)

    def busy(self) -> bool:
        return self.stored["LEFT"] != 0

    def show_TICKS(self) -> int:
        return self.ticks

    def show_SAW(self) -> int:
        return self.saw


@waits
@pytest.mark.parametrize("cycle", [0, 1, 2, 9, 10, 11, 30])
def test_tick_is_called_once_a_cycle(wait: int, cycle: int) -> None:
    """Cycle t shows t ticks, those of the cycles before; a write in cycle 9 takes no tick away."""
    assert (
        Drive(Treadle, wait).write(5, "LEFT", 3).write(9, "LEFT", 2).shows("TICKS", cycle) == cycle
    )


@waits
def test_a_write_is_stored_after_the_tick_of_its_cycle(wait: int) -> None:
    """LEFT = 3 written in e = 5 is 3 in cycle 6 still, then 2, 1 and 0 in the cycles 7, 8 and 9."""
    drive = Drive(Treadle, wait).write(5, "LEFT", 3)
    assert [drive.shows("LEFT", cycle) for cycle in range(4, 11)] == [0, 0, 3, 2, 1, 0, 0]


@waits
def test_tick_sees_the_state_of_its_cycle(wait: int) -> None:
    """The tick at the end of cycle 5 saw 0 (shown in 6), that of cycle 6 saw 3, and so on."""
    drive = Drive(Treadle, wait).write(5, "LEFT", 3)
    assert [drive.shows("SAW", cycle) for cycle in range(5, 11)] == [0, 0, 3, 2, 1, 0]


@waits
@pytest.mark.parametrize(
    ("lanes", "shown"), [(0b1111, 0x0A0B), (0b0010, 0x0A05), (0b0001, 0x000B), (0, 0x0005)]
)
def test_a_write_meets_what_the_tick_of_its_cycle_left(wait: int, lanes: int, shown: int) -> None:
    """LEFT is 6 in cycle 9; its tick makes 5; the lanes of a write in e = 9 are put over that."""
    drive = Drive(Treadle, wait).write(5, "LEFT", 9).write(9, "LEFT", 0x0A0B, lanes)
    assert [drive.shows("LEFT", cycle) for cycle in (9, 10, 11)] == [6, shown, shown - 1]


@waits
@pytest.mark.parametrize(
    ("cleared", "shown"),
    [(11, [0, 1, 1]), (12, [0, 1, 1]), (13, [0, 1, 0]), (14, [0, 1, 1])],
)
def test_raised_bits_win_over_a_clear_in_the_same_cycle(
    wait: int, cleared: int, shown: list[int]
) -> None:
    """LEFT = 7 in e = 5 is 1 in cycle 12: STATUS is set at its end, whatever a clear in 12 says."""
    drive = Drive(Treadle, wait).write(5, "LEFT", 7).write(cleared, "STATUS", 1)
    assert [drive.shows("STATUS", cycle) for cycle in (12, 13, 14)] == shown


@waits
def test_a_bit_raised_once_can_be_cleared_later(wait: int) -> None:
    """A write in a later cycle is not undone by what an earlier tick raised."""
    drive = Drive(Treadle, wait).write(5, "LEFT", 2).write(12, "STATUS", 1).write(15, "LEFT", 0)
    assert [drive.shows("STATUS", cycle) for cycle in (12, 13, 16, 20)] == [1, 0, 0, 0]


@waits
def test_drive_shows_one_cycle_later(wait: int) -> None:
    """The tick of cycle 6 raises the arm for cycle 7; that of cycle 8 drops it for cycle 9."""
    recording = Drive(Treadle, wait).write(5, "LEFT", 3).run()
    assert edges(recording, "arm") == [(0, 0), (7, 1), (9, 0)]


@waits
@pytest.mark.parametrize(("left", "cycles"), [(0, 7), (1, 8), (3, 10), (20, 27)])
def test_busy_ends_the_run_in_the_right_cycle(wait: int, left: int, cycles: int) -> None:
    """LEFT = n in e = 5 is 0 first in cycle 6 + n: that is the last cycle."""
    recording = Drive(Treadle, wait).write(5, "LEFT", left).run()
    assert (recording.cycles, recording.ended) == (cycles, "done")


@waits
@pytest.mark.parametrize("length", [1, 3])
def test_a_reset_holds_a_cycle_model(wait: int, length: int) -> None:
    """LEFT is 6 in cycle r = 8 and 0 from cycle 9 on; arm 0 from 9; no tick in the cycles r .. r +
    L - 1.
    """
    drive = Drive(Treadle, wait, resets=[(8, length)]).write(5, "LEFT", 8)
    assert [drive.shows("LEFT", cycle) for cycle in (8, 9, 8 + length, 20)] == [6, 0, 0, 0]
    assert edges(drive.run(upto=20), "arm") == [(0, 0), (7, 1), (9, 0)]
    assert [drive.shows("TICKS", cycle) for cycle in (9, 8 + length, 9 + length)] == [8, 8, 9]
    later = drive.write(16, "LEFT", 2)
    assert [later.shows("LEFT", cycle) for cycle in (16, 17, 18, 19)] == [0, 2, 1, 0]


def test_a_cycle_model_without_hooks_does_nothing() -> None:
    """A CycleModel that defines neither tick nor busy is registers only, always at rest."""

    class Plain(CycleModel):
        table = RegisterTable(Register("WORD", 0x00))

    recording = Drive(Plain).write(5, "WORD", 7).read(8, "WORD").run()
    assert reads(recording) == {8: 7}
    assert (recording.cycles, recording.ended) == (10, "done")


class Wheel(CycleModel):
    """The rim is up while SPIN counts down; a read of PULL pulls the cord for five cycles, once."""

    table = RegisterTable(
        Register("SPIN", 0x00, "rw", "Cycles that the rim stays up.", width=8),
        Register("PULL", 0x04, "ro", "A read pulls the cord.", width=8),
        Register("LOOK", 0x08, "ro", "Nothing.", width=8),
        Register("LONG", 0x0C, "rw", "Written as a whole only.", whole=0b1111),
    )
    pins = (Pin("rim"), Pin("cord"), Pin("beat"), Pin("chime"))
    pulled = False
    slack_from = 0

    def tick(self, cycle: int) -> None:
        left = self.stored["SPIN"]
        self.drive("rim", int(left > 0))
        self.stored["SPIN"] = max(0, left - 1)
        self.drive("cord", int(cycle < self.slack_from))
        self.drive("beat", int(cycle >= 14))
        self.drive("chime", int(cycle >= 14), NO_ACCESS)

    def read_PULL(self, number: int) -> bool:
        if self.pulled:
            return False
        self.pulled, self.slack_from = True, self.cycle + 5
        return True


def causes(recording: Recording, pin: str) -> dict[int, int]:
    """Return cycle and access of the edges of a pin."""
    line = recording.lines[f"dev.{pin}"]
    return dict(zip(line.cycles.tolist()[1:], line.accesses.tolist()[1:], strict=True))


@waits
def test_an_access_without_an_effect_causes_nothing(wait: int) -> None:
    """Among reads, and writes that reach nothing, the one write that acts causes both edges."""
    drive = Drive(Wheel, wait).write(5, "SPIN", 9)
    drive.read(7, "LOOK").read(9, "SPIN").write(11, "LOOK", 1).write(13, "LONG", 1, lanes=1)
    assert causes(drive.run(upto=30), "rim") == {7: 0, 16: 0}


@waits
def test_a_read_with_an_effect_is_a_cause(wait: int) -> None:
    """The read that pulls the cord causes both of its edges; the next one says that it did nothing."""
    drive = Drive(Wheel, wait).write(5, "SPIN", 20).read(7, "PULL").read(10, "PULL")
    assert causes(drive.run(upto=20), "cord") == {8: 1, 13: 1}


def test_an_edge_of_the_cycle_of_a_write_is_not_caused_by_it() -> None:
    """The tick of cycle e = 5 sees the state before the write of e: edge 6 is of the first."""
    drive = Drive(Wheel).write(3, "SPIN", 1).write(5, "SPIN", 5)
    assert causes(drive.run(upto=20), "rim") == {5: 0, 6: 0, 7: 1, 12: 1}


def test_no_access_from_before_a_reset_is_a_cause() -> None:
    """An edge after a reset names no access of before it; without a reset it does."""
    assert causes(Drive(Wheel).write(5, "LONG", 1).run(upto=20), "beat") == {15: 0}
    drive = Drive(Wheel, resets=[(9, 1)]).write(5, "LONG", 1)
    assert causes(drive.run(upto=20), "beat") == {15: NO_ACCESS}


def test_a_tick_can_name_no_access() -> None:
    """``drive`` takes another cause than the last access that acted."""
    assert causes(Drive(Wheel).write(5, "LONG", 1).run(upto=20), "chime") == {15: NO_ACCESS}


class Rope(RegisterModel):
    """Lets go of its pin, which another edge of the same cycle has just raised."""

    table = RegisterTable(Register("PULL", 0x00))
    pins = (Pin("rope"),)

    def write_PULL(self, write: Write) -> None:
        self.host.edge("rope", write.shows, 1)
        self.host.edge("rope", write.shows, RELEASED, write.number)
        self.host.edge("rope", write.shows, RELEASED)


def test_the_last_edge_of_a_cycle_names_the_cause() -> None:
    """Of several announced for one cycle, the one that gives the level names the access."""
    assert causes(Drive(Rope).write(5, "PULL", 1).run(upto=20), "rope") == {6: 0}


# Models that break their contract.


class Clumsy(RegisterModel):
    """Does what its ``deed`` says when DO is written."""

    table = RegisterTable(Register("DO", 0x00, "rw", "Do it."), Register("BE", 0x04))
    pins = (Pin("arm"), Pin("track", "input"))
    deed: Callable[[Clumsy, Write], None]

    def write_DO(self, write: Write) -> None:
        type(self).deed(self, write)


def _clumsy(deed: Callable[[Any, Write], None]) -> Any:
    return type("Clumsy", (Clumsy,), {"deed": staticmethod(deed)})


def _early(model: Clumsy, write: Write) -> None:
    model.host.edge("arm", write.shows, 1)
    model.host.edge("arm", write.shows - 1, 0)


@pytest.mark.parametrize(
    ("deed", "message"),
    [
        (_early, "must not be earlier than the last one, in cycle 7, not 6"),
        (lambda m, w: m.host.edge("horn", w.shows, 1), "no output pin 'horn'"),
        (lambda m, w: m.host.edge("track", w.shows, 1), "no output pin 'track'"),
        (lambda m, w: m.host.edge("arm", w.shows, 7), "must be 0.* not 7"),
    ],
)
def test_an_impossible_edge_is_a_model_error(
    deed: Callable[[Any, Write], None], message: str
) -> None:
    """An edge before the last one, on an unknown or an input pin, or no level, is refused."""
    with pytest.raises(ModelError, match=message):
        Drive(_clumsy(deed)).write(6, "DO", 1).run()


def test_edges_in_order_are_taken() -> None:
    """An edge in the same cycle as the last one replaces it; one later follows it."""

    def good(model: Clumsy, write: Write) -> None:
        model.host.edge("arm", write.shows, 1)
        model.host.edge("arm", write.shows, 0)
        model.host.edge("arm", write.shows + 2, 1)

    recording = Drive(_clumsy(good)).write(6, "DO", 1).run(upto=12)
    assert edges(recording, "arm") == [(0, 0), (9, 1)]


@waits
def test_an_exception_says_where_and_when(wait: int) -> None:
    """What a model raises in an access is told with slot, file, line, cycle and access."""

    def jam(model: Clumsy, write: Write) -> None:
        raise ZeroDivisionError("the lever is jammed")

    drive = Drive(_clumsy(jam), wait).read(4, "BE").write(9, "DO", 1)
    told = r"^slot\.dev: its access raised ZeroDivisionError: the lever is jammed \(tests/models/"
    with pytest.raises(ModelError, match=told) as caught:
        drive.run()
    assert str(caught.value).endswith(", in cycle 9, access 1")
    assert isinstance(caught.value.__cause__, ZeroDivisionError)


# Held accesses and ERR.


class Gate(RegisterModel):
    """Holds accesses of the registers whose names say so."""

    table = RegisterTable(
        Register("LATER", 0x00, "rw", "Held for 3 cycles."),
        Register("TRACK", 0x04, "rw", "Held until the track is clear."),
        Register("WOKEN", 0x08, "rw", "Held for 4 cycles, by a wake."),
        Register("NO", 0x0C, "rw", "Ends with ERR."),
        Register("ASKED", 0x10, "ro", "Calls of access so far."),
        Register("BACK", 0x14, "rw", "A hold that ends in its own cycle."),
    )
    pins = (Pin("clear", "input"), Pin("arm"))
    asked = 0
    number = -1
    first = 0
    track = 0
    woken = False

    def access(self, access: BusAccess) -> Answer:
        self.asked += access.offset != 0x10
        if access.number != self.number:
            self.number, self.first, self.woken = access.number, access.cycle, False
            if access.offset == 0x08:
                self.host.wake_at(access.cycle + 4)
        if access.offset == 0x00 and access.cycle < self.first + 3:
            return Hold(self.first + 3)
        if (access.offset == 0x04 and not self.track) or (access.offset == 0x08 and not self.woken):
            return Hold()
        if access.offset == 0x14:
            return Hold(access.cycle)
        return ERROR if access.offset == 0x0C else super().access(access)

    def input(self, cycle: int, pin: str, level: int) -> None:
        self.advance(cycle)
        self.track = level

    def wake(self, cycle: int) -> None:
        self.advance(cycle)
        self.woken = True
        self.host.event(cycle, "woken")

    def write_LATER(self, write: Write) -> None:
        self.host.edge("arm", write.shows, write.value & 1, write.number)

    def show_ASKED(self) -> int:
        return self.asked

    def clear(self) -> None:
        self.woken = False


def _freely(drive: Drive) -> Recording:
    """Run without a check of the aim: a held access ends later than it was aimed."""
    return drive.bench(drive.aimed).run()


@waits
def test_a_hold_until_a_cycle_ends_in_it(wait: int) -> None:
    """A write aimed at 6 and held for 3 cycles ends in 9 and shows in 10; it was asked twice."""
    drive = Drive(Gate, wait).write(6, "LATER", 1)
    recording = _freely(drive.read(8 + wait, "ASKED"))
    assert recording.accesses.start.tolist()[0] == 6 - wait
    assert recording.accesses.end.tolist()[0] == 9
    assert edges(recording, "arm") == [(0, 0), (10, 1)]
    assert list(reads(recording).values()) == [2]


@waits
@pytest.mark.parametrize(
    ("clear_at", "ends"),
    [(2, 6), (6, 6), (7, 7), (9, 9), (30, 30)],
)
def test_a_hold_without_an_end_is_released_by_an_input(wait: int, clear_at: int, ends: int) -> None:
    """A read aimed at 6 ends in the cycle of the input's level, or in 6 if that is there already."""
    recording = _freely(Drive(Gate, wait, inputs=[(clear_at, "clear", 1)]).read(6, "TRACK"))
    assert recording.accesses.end.tolist() == [ends]
    assert recording.accesses.terminators == ["ack"]


@waits
def test_an_input_that_does_not_release_asks_again_and_holds_on(wait: int) -> None:
    """A level 0 in cycle 8 changes nothing; the level 1 in cycle 12 ends the access: 3 calls."""
    drive = Drive(Gate, wait, inputs=[(8, "clear", 0), (12, "clear", 1)])
    recording = _freely(drive.write(6, "TRACK", 5).read(8 + wait, "TRACK").read(13, "ASKED"))
    assert recording.accesses.end.tolist()[0] == 12
    assert list(reads(recording).values()) == [5, 4]  # 3 calls for the write, 1 for the read


@waits
def test_a_held_access_that_nothing_releases_hangs(wait: int) -> None:
    """Without an input the run ends as ``hang``, and the access has changed nothing."""
    drive = Drive(Gate, wait).write(6, "TRACK", 5)
    bench = drive.bench(drive.aimed)
    bench.keys["hang_after"] = 50
    recording = bench.run()
    assert recording.ended == "hang"
    assert recording.accesses.terminators == ["none"]
    assert recording.registers["dev"]["TRACK"] == 0


@waits
def test_a_hold_is_released_by_a_wake(wait: int) -> None:
    """A write aimed at 6 that asks for a wake 4 cycles later ends in 10."""
    recording = _freely(Drive(Gate, wait).write(6, "WOKEN", 1))
    assert recording.accesses.end.tolist() == [10]
    assert events(recording) == [(10, "woken", NO_ACCESS)]


@waits
def test_a_hold_that_a_reset_cuts_changes_nothing(wait: int) -> None:
    """A write held from 6 to 9 and reset in 8 ends as ``reset`` in cycle 8; LATER stays 0.

    A wake asked for cycle 10 does not come after the reset.
    """
    recording = _freely(Drive(Gate, wait, resets=[(8, 1)]).write(6, "LATER", 1))
    assert recording.accesses.terminators == ["reset"]
    assert recording.accesses.end.tolist() == [8]
    assert edges(recording, "arm") == [(0, 0)]
    woken = Drive(Gate, wait, resets=[(8, 1)]).write(6, "WOKEN", 1)
    assert events(woken.bench(woken.aimed, 20).run()) == []


@waits
def test_a_hold_that_ends_in_its_own_cycle_is_a_model_error(wait: int) -> None:
    """Hold(until) must name a later cycle."""
    with pytest.raises(ModelError, match="in cycle 6 must end in a later cycle, not in 6"):
        _freely(Drive(Gate, wait).read(6, "BACK"))


@waits
def test_error_ends_the_access_with_err(wait: int) -> None:
    """ERROR ends a write and a read with ERR in their cycles; the read's data is 0."""
    recording = _freely(Drive(Gate, wait).write(6, "NO", 5).read(9, "NO").read(12, "LATER"))
    assert recording.accesses.terminators == ["error", "error", "ack"]
    assert recording.accesses.end.tolist() == [6, 9, 15]
    assert recording.accesses.data.tolist()[1] == 0
    assert recording.registers["dev"]["NO"] == 0


# What holds for every model.


def _everything(recording: Recording) -> dict[str, Any]:
    """Return all that a recording tells, as plain values."""
    columns = recording.accesses
    names = ("start", "end", "address", "write", "lanes", "data", "terminator", "slot", "step")
    return {
        "accesses": {name: columns[name].tolist() for name in names},
        "lines": {
            pin: (line.cycles.tolist(), line.levels.tolist(), line.accesses.tolist())
            for pin, line in recording.lines.items()
        },
        "texts": recording.texts,
        "events": recording.events,
        "registers": recording.registers,
        "cycles": (recording.cycles, recording.ended),
        "findings": recording.findings,
    }


def _cabin(firmware: Any) -> Bench:
    """Return a signal cabin with every device."""
    models = {
        "levers": {"model": "gpio"},
        "telegraph": {"model": "uart", "divisor": 3},
        "lamps": {
            "model": "pulse_led", "lamps": 2, "count": 2, "high": 2 << 16 | 1, "period": 5 << 16 | 3,
        },
        "clock": {"model": "timer"},
        "book": {"model": "memory"},
        "treadle": {"model": Treadle},
    }  # fmt: skip
    slots = {
        name: {"base": BASE + 0x1000 * place, "size": 0x1000} | keys
        for place, (name, keys) in enumerate(models.items())
    }
    return Bench(
        {
            "clock": "16 MHz",
            "slot": slots,
            "input": [{"at": 30, "pin": "levers.in.3", "level": 1}],
            "reset": [{"at": 120, "length": 2}],
            "after_reset": "continue",
            "traffic": firmware,
        }
    )


def _firmware(bus: Any) -> None:
    bus.write("lamps.COLOUR.1", 0x123456)
    bus.write("lamps.CONTROL", 1)
    bus.write("telegraph.DATA", 0x41)
    bus.write("telegraph.DATA", 0x42)
    bus.write("telegraph.DATA", 0x43)
    bus.write("levers.TOGGLE", 0xFF)
    bus.read(BASE + 0x4000)
    bus.write("treadle.LEFT", 12)
    bus.write("clock.ALARM", 60)
    bus.poll("clock.STATUS", 1)
    bus.pause(200)
    bus.write("lamps.CONTROL", 1)


def test_two_runs_of_a_bench_are_identical() -> None:
    """The same Bench run twice, and a second Bench of the same keys, tell the same."""
    bench = _cabin(_firmware)
    first = _everything(bench.run())
    assert len(first["events"]) >= 4
    assert _everything(bench.run()) == first
    assert _everything(_cabin(_firmware).run()) == first


class _Notes:
    """A host that writes down everything."""

    name, base, size, clock_hz = "dev", BASE, 0x1000, 16_000_000

    def __init__(self) -> None:
        self.told: list[tuple[Any, ...]] = []

    def edge(self, *told: Any) -> None:
        self.told.append(("edge", *told))

    def event(self, cycle: int, kind: str, access: int = NO_ACCESS, **details: Any) -> None:
        self.told.append(("event", cycle, kind, access))

    def character(self, *told: Any) -> None:
        self.told.append(("character", *told))

    def wake_at(self, cycle: int) -> None:
        self.told.append(("wake", cycle))

    def cacheable_until(self, until: int | None) -> None:
        self.told.append(("cacheable_until", until))


def _drive_directly(model_class: Any, settings: dict[str, Any], looks: int) -> list[Any]:
    """Return all that a model tells and answers, with so many looks at its registers in between."""
    host = _Notes()
    model = model_class(host, **settings)
    answers: list[Any] = []
    for number in range(40):
        for _ in range(looks):
            assert model.registers() == model.registers()
        cycle, write = 3 + 5 * number, number % 3 != 2
        offset = (0x00, 0x04, 0x08, 0x0C, 0x10, 0x100)[number % 7 % 6]
        data = 0x1F03_0501 * (number + 1) & 0xFFFF_FFFF if write else 0
        answers.append(model.access(BusAccess(cycle, offset, write, data, ALL, number)))
        if number % 10 == 9:
            model.advance(cycle + 3)
        if number == 25:
            model.reset(cycle + 1, 2)
    answers.append(model.registers())
    return [*answers, *host.told]


@pytest.mark.parametrize(
    ("model", "settings"),
    [
        (Gpio, {"width": 32}),
        (Uart, {"divisor": 2}),
        (
            PulseLed,
            {"lamps": 2, "channels": 3, "order": "GRB", "count": 1, "high": 0x2_0001, "period": 3},
        ),
        (Timer, {}),
        (Memory, {"kind": "ram", "file": None}),
        (Treadle, {}),
        (Panel, {}),
    ],
)
def test_registers_has_no_side_effects(model: Any, settings: dict[str, Any]) -> None:
    """A model whose registers are looked at before every access tells and answers the same."""
    assert _drive_directly(model, settings, 0) == _drive_directly(model, settings, 3)


_LAMPS = {"lamps": 2, "channels": 3, "count": 0, "high": 0, "period": 0}
#: Model, settings, and for registers their offset and the bits that have a right.
_DECLARED: list[tuple[Any, dict[str, Any], dict[str, tuple[int, dict[str, int]]]]] = [
    (
        Gpio,
        {"width": 5},
        {
            "OUT": (0x00, {"rw": 0x1F}),
            "SET": (0x04, {"ones_act": 0x1F}),
            "CLEAR": (0x08, {"ones_act": 0x1F}),
            "TOGGLE": (0x0C, {"ones_act": 0x1F}),
            "IN": (0x10, {"ro": 0x1F}),
            "ENABLE": (0x14, {"rw": 0x1F}),
            "RISE": (0x18, {"rw": 0x1F}),
            "FALL": (0x1C, {"rw": 0x1F}),
            "EVENTS": (0x20, {"ones_clear": 0x1F}),
        },
    ),
    (
        Uart,
        {},
        {
            "DATA": (0x00, {"rw": 0xFF}),
            "STATUS": (0x04, {"ro": 0x07, "ones_clear": 0x38}),
            "DIVISOR": (0x08, {"rw": 0xFFFF}),
            "INTERRUPT": (0x0C, {"rw": 0x03}),
        },
    ),
    (
        PulseLed,
        _LAMPS,
        {
            "CONTROL": (0x00, {"ones_act": 1, "rw": 2}),
            "STATUS": (0x04, {"ro": 1, "ones_clear": 2}),
            "COUNT": (0x08, {"rw": 0xFFFF_FFFF}),
            "HIGH": (0x0C, {"rw": 0xFFFF_FFFF}),
            "PERIOD": (0x10, {"rw": 0xFFFF_FFFF}),
            "COLOUR": (0x100, {"rw": 0x00FF_FFFF}),
        },
    ),
    (
        Timer,
        {},
        {
            "NOW": (0x00, {"ro": 0xFFFF_FFFF}),
            "NOW_HIGH": (0x04, {"ro": 0xFFFF_FFFF}),
            "ALARM": (0x08, {"rw": 0xFFFF_FFFF}),
            "CONTROL": (0x0C, {"rw": 1}),
            "STATUS": (0x10, {"ones_clear": 1}),
        },
    ),
    (Memory, {}, {"WORD": (0x00, {"rw": 0xFFFF_FFFF})}),
]


@pytest.mark.parametrize(("model", "settings", "registers"), _DECLARED)
def test_rights_are_declared_as_in_the_table(
    model: Any, settings: dict[str, Any], registers: dict[str, tuple[int, dict[str, int]]]
) -> None:
    """Each register is declared at its offset, with the bits of each right: findings go by that."""
    declared = {one.name: one for one in model.table_for(settings, 0x1000)}
    for name, (offset, rights) in registers.items():
        assert declared[name].offset == offset
        for right, bits in rights.items():
            assert declared[name].mask(right) & bits == bits, (name, right)


def test_a_host_satisfies_the_protocol() -> None:
    """The host of the tests has every name of the protocol."""
    wanted = {name for name in vars(Host) if not name.startswith("_")}
    wanted |= set(Host.__annotations__)
    assert wanted == {
        "edge", "event", "character", "wake_at", "cacheable_until", "name", "base", "size", "clock_hz",
    }  # fmt: skip
    assert all(hasattr(_Notes(), name) for name in wanted)
