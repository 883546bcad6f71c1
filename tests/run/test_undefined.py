"""Undefined bits that reach the bus or a pin: two runs of hardware that declares some."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import Module, Mux, Signal
from hypothesis import given, settings
from hypothesis import strategies as st

import busbox
from busbox import Bench, Recording
from busbox.bus.hardware import Hardware, Registers
from busbox.cpu.bus import Bus
from busbox.device import Field, Pin, Register, RegisterTable, Setting
from busbox.recording import UndefinedSeen
from busbox.run import undefined
from busbox.run.live import Live
from tests.core import assembler as asm
from tests.core.assembler import Assembly
from tests.recording.test_recording import same
from tests.run.test_live import Script

BASE = 0x4000_0000
ENGINES = ("reference", "python", "llvm")


class Desk(Hardware):
    """Two words that nothing sets, KEPT and ALSO; NEW tells whether KEPT has been written."""

    settings = (
        Setting("shows", "word", kind="text", choices=("word", "error", "hold", "pin", "late")),
    )
    table = RegisterTable(
        Register("KEPT", 0x00, "rw", "A word that nothing sets."),
        Register("ALSO", 0x04, "rw", "Another one."),
        Register("NEW", 0x08, "ro", "Whether KEPT has been written.", (Field("NEW", 0, 0),)),
    )
    pins = (Pin("lamp"), Pin("bell"))
    pin_lamp: Any
    pin_bell: Any

    @classmethod
    def undefined_for(cls, settings: Mapping[str, Any]) -> tuple[str, ...]:
        return ("kept", "also")

    @classmethod
    def pins_for(cls, settings: Mapping[str, Any]) -> tuple[Pin, ...]:
        lamp = cls.undefined_level if settings["shows"] == "pin" else 0
        return (Pin("lamp", level=lamp), Pin("bell"))

    def build(self, m: Module, registers: Registers) -> None:
        level, shows = self.undefined_level, self.options["shows"]
        kept, also = (
            Signal(32, init=-level & 0xFFFF_FFFF, reset_less=True, name=name)
            for name in ("kept", "also")
        )
        lanes, new = Signal(32), Signal()
        m.d.comb += lanes.eq(sum(self.bus.sel[lane] * (0xFF << 8 * lane) for lane in range(4)))
        for cell, word in ((registers.KEPT, kept), (registers.ALSO, also)):
            with m.If(cell.written):
                m.d.sync += word.eq(word & ~lanes | self.bus.write_data & lanes)
            cell.show(word)
        with m.If(registers.KEPT.written):
            m.d.sync += new.eq(1)
        registers.NEW.show(new)
        m.d.comb += self.pin_bell.eq(new & also[0])
        if shows == "pin":
            m.d.comb += self.pin_lamp.eq(kept[0])
        late = Signal()
        m.d.sync += late.eq(new)
        if shows == "late":
            m.d.comb += self.pin_lamp.eq(Mux(kept[31], new, late))
        asked = ~self.bus.we & (self.bus.adr == 1)
        if shows == "error":
            m.d.comb += registers.refuse.eq(asked & kept[31])
        if shows == "hold":
            tried = Signal()
            m.d.sync += tried.eq(self.bus.stb)
            m.d.comb += registers.hold.eq(asked & ~tried & ~kept[31])


def run(traffic: Any, shows: str = "word", engine: str = "reference", **keys: Any) -> Recording:
    """Run traffic on a desk."""
    slot = {"model": Desk, "base": BASE, "size": 0x10, "shows": shows}
    slots = {"desk": slot, **keys.pop("slot", {})}
    return Bench({"clock": "1 MHz", "slot": slots, "traffic": traffic, **keys}).run(engine)


def steps(text: str, folder: Path) -> str:
    """Write steps to a file; return its name."""
    file = folder / "noon.steps"
    file.write_text(text, encoding="utf-8")
    return str(file)


def texts(recording: Recording) -> list[str]:
    """Return the messages of the rule."""
    return [one.message for one in recording.findings if one.rule == "undefined-value"]


def byte_mask(lanes: int) -> int:
    """Return the bits of a word that lanes carry."""
    return sum(0xFF << 8 * lane for lane in range(4) if lanes >> lane & 1)


ACCESS = st.tuples(
    st.booleans(), st.sampled_from([0, 4, 8]), st.integers(0, 0xFFFF_FFFF), st.integers(1, 15)
)


@settings(max_examples=25, deadline=None)
@given(accesses=st.lists(ACCESS, min_size=1, max_size=14))
def test_the_first_read_of_bits_that_nothing_has_written_is_found_for_each_register(
    accesses: list[tuple[bool, int, int, int]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Against a count of the bits that drawn writes have set; lanes that are not read do not matter."""
    unset, expected = {0: 0xFFFF_FFFF, 4: 0xFFFF_FFFF, 8: 0}, {}
    lines = []
    for number, (write, offset, data, lanes) in enumerate(accesses):
        mask = byte_mask(lanes)
        if write:
            lines.append(f"write {BASE + offset:#x} {data & mask:#x} lanes {lanes:04b}")
            unset[offset] &= ~mask
        else:
            lines.append(f"read {BASE + offset:#x} lanes {lanes:04b}")
            if unset[offset] & mask:
                expected.setdefault(offset, (number, unset[offset] & mask))
    folder = tmp_path_factory.mktemp("drawn")
    recording = run(steps("\n".join(lines), folder), engine="python")
    seen = [one for one in recording.undefined_seen if one.what == "word"]
    assert [(one.access, one.zeros ^ one.ones) for one in seen] == sorted(expected.values())
    for one in seen:
        lanes = accesses[one.access][3]
        assert one.zeros == int(recording.accesses.data[one.access]) & byte_mask(lanes)
        assert one.cycle == recording.accesses.end[one.access] == one.end


@pytest.mark.parametrize("engine", ENGINES)
def test_every_engine_finds_the_same(engine: str, tmp_path: Path) -> None:
    """Word, bits and cycle of a read; level and cycle of a pin."""
    file = steps("read desk.KEPT\nwrite desk.KEPT 1\nread desk.KEPT\nread desk.KEPT", tmp_path)
    recording = run(file, "pin", engine)
    read, written = recording.accesses.end[:2].tolist()
    assert recording.undefined_seen == (
        UndefinedSeen("level", 0, -1, "desk", "lamp", 0, 1),
        UndefinedSeen("word", read, 0, "desk", "", 0, 0xFFFF_FFFF, read),
        UndefinedSeen("level", written + 1, -1, "desk", "bell", 0, 1),
    )


def test_messages_and_hints(tmp_path: Path) -> None:
    """What they say of a word, one bit of it, and a pin; each is counted under its name."""
    file = steps("write desk.KEPT 1 lanes 0101\nread desk.KEPT\nread desk.ALSO", tmp_path)
    recording = run(file, "pin")
    hint = (
        "Set it by a reset or an initial value, or write it first (undefined in desk: kept and "
        "also)."
    )
    found = [one for one in recording.findings if one.rule == "undefined-value"]
    assert [(one.message, one.hint, one.line) for one in found] == [
        ("desk.lamp depends on undefined bits: low if they are 0, high if they are 1.",
         hint, -1),
        ("desk.bell depends on undefined bits: low if they are 0, high if they are 1.",
         hint, -1),
        ("read of desk.KEPT (0x40000000) depends on undefined bits: 0x1 if they are 0, 0xff00ff01 "
         "if they are 1 (bits 31..24 and 15..8 differ).", hint, 2),
        ("read of desk.ALSO (0x40000004) depends on undefined bits: 0x0 if they are 0, 0xffffffff "
         "if they are 1 (bits 31..0 differ).", hint, 3),
    ]  # fmt: skip
    assert recording.counts["undefined-value"] == {
        "desk.lamp": 1, "desk.bell": 1, "desk.KEPT": 1, "desk.ALSO": 1,
    }  # fmt: skip


def test_one_bit_is_told_as_one(tmp_path: Path) -> None:
    """A word of which all bits but one have been written, in a register that shows one bit."""

    class Bit(Desk):
        def build(self, m: Module, registers: Registers) -> None:
            super().build(m, registers)
            registers.NEW.show(Signal(init=self.undefined_level))

    slot = {"desk": {"model": Bit, "base": BASE, "size": 0x10}}
    assert texts(run(steps("read desk.NEW", tmp_path), slot=slot)) == [
        "read of desk.NEW (0x40000008) depends on undefined bits: 0x0 if they are 0, 0x1 if they "
        "are 1 (bit 0 differs)."
    ]


@pytest.mark.parametrize(
    ("shows", "text"),
    [
        ("error", "ACK in cycle 2 if they are 0, ERR in cycle 2 if they are 1."),
        ("hold", "ACK in cycle 3 if they are 0, ACK in cycle 2 if they are 1."),
    ],
)
def test_an_answer_that_depends_on_undefined_bits_is_found(
    shows: str, text: str, tmp_path: Path
) -> None:
    """Another terminator, or another cycle; what comes after the runs have parted is not compared."""
    recording = run(steps("read desk.ALSO\nread desk.KEPT", tmp_path), shows)
    before = "the answer to the read of desk.ALSO (0x40000004) depends on undefined bits: "
    assert texts(recording) == [before + text]
    (seen,) = recording.undefined_seen
    assert (seen.what, seen.cycle, seen.access, seen.slot) == ("answer", 2, 0, "desk")


def test_after_a_poll_that_takes_another_time_nothing_is_compared(tmp_path: Path) -> None:
    """The read that ends the poll in one of them only is the last that is told."""
    polled = "poll desk.KEPT & 1 == 1 limit 3\nread desk.ALSO\nwrite desk.KEPT 1"
    recording = run(steps(polled, tmp_path), "word")
    assert [(one.what, one.access) for one in recording.undefined_seen] == [("word", 0)]


def test_a_wire_carries_it_to_the_slot_that_is_read(tmp_path: Path) -> None:
    """A read of another device shows the pin; the hint names the one with undefined bits."""
    slot = {"levers": {"model": "gpio", "base": 0x5000_0000, "size": 0x1000}}
    wire = [{"from": "desk.lamp", "to": "levers.in.3"}]
    recording = run(steps("pause 3\nread levers.IN", tmp_path), "pin", slot=slot, wire=wire)
    pin, word = recording.undefined_seen
    assert (pin.pin, pin.cycle) == ("lamp", 0)
    assert (word.slot, word.zeros, word.ones) == ("levers", 0, 8)
    assert recording.findings[-1].hint.endswith("(undefined in desk: kept and also).")


def test_an_alias_is_the_same_register(tmp_path: Path) -> None:
    """Of two addresses of one word, only the first read is told; another register is told, too."""
    slot = {"desk": {"model": Desk, "base": BASE, "size": 0x10, "compare": "31..12"}}
    alias = f"read {BASE + 0x10:#x}\nread desk.KEPT\nread desk.ALSO"
    recording = run(steps(alias, tmp_path), slot=slot)
    assert [one.access for one in recording.undefined_seen] == [0, 2]


def test_an_edge_in_another_cycle_is_found(tmp_path: Path) -> None:
    """A pin has the same edge in both runs, a cycle later in one."""
    recording = run(steps("write desk.KEPT 1 lanes 0001\npause 9", tmp_path), "late")
    edge = int(recording.accesses.end[0]) + 1
    assert recording.lines["desk.lamp"].cycles.tolist() == [0, edge + 1]
    lamp = [one for one in recording.undefined_seen if one.pin == "lamp"]
    assert [(one.cycle, one.zeros, one.ones) for one in lamp] == [(edge, 0, 1)]


def test_a_pin_in_the_last_cycle_is_found(tmp_path: Path) -> None:
    """A run that ends before the edge does not have it; one that ends with it does."""
    file = steps("write desk.KEPT 1\npause 9", tmp_path)
    slot = {"model": Desk, "base": BASE, "size": 0x10}
    bench = Bench({"clock": "1 MHz", "slot": {"desk": slot}, "traffic": file})
    edge = int(bench.run().accesses.end[0]) + 1
    assert bench.run(until=edge).undefined_seen == ()
    assert [one.cycle for one in bench.run(until=edge + 1).undefined_seen] == [edge]


class Relay(Hardware):
    """Repeats a pin a cycle later."""

    table = RegisterTable(Register("NONE", 0, "rw", "Nothing.", width=1))
    pins = (Pin("coil", "input"), Pin("contact"))
    pin_coil: Any
    pin_contact: Any

    def build(self, m: Module, registers: Registers) -> None:
        contact = Signal()
        m.d.sync += contact.eq(self.pin_coil)
        m.d.comb += self.pin_contact.eq(contact)


def test_pins_of_hardware_without_undefined_bits_are_not_told(tmp_path: Path) -> None:
    """A pin that follows an undefined one by a wire is not told again."""
    slot = {"relay": {"model": Relay, "base": 0x5000_0000, "size": 4}}
    wire = [{"from": "desk.lamp", "to": "relay.coil"}]
    recording = run(steps("pause 9", tmp_path), "pin", slot=slot, wire=wire)
    assert [one.pin for one in recording.undefined_seen] == ["lamp"]


def test_the_class_with_ones_is_made_once_for_each_class() -> None:
    """So its designs are known again; a subclass has one of its own."""

    class Other(Desk):
        """Another desk."""

    assert Desk.with_ones() is Desk.with_ones()
    assert issubclass(Desk.with_ones(), Desk)
    assert issubclass(Other.with_ones(), Other)
    assert (Desk.undefined_level, Other.with_ones().undefined_level) == (0, 1)


def test_nothing_is_found_where_all_is_written_before(tmp_path: Path) -> None:
    """The bits of both words are written, then read; no note says that nothing was looked for."""
    file = steps("write desk.ALSO 2\nwrite desk.KEPT 4\nread desk.KEPT\nread desk.ALSO", tmp_path)
    recording = run(file)
    assert recording.undefined_seen == ()
    assert recording.run_notes == ()


def test_hardware_without_undefined_bits_is_run_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither models nor twins have any, so that no second run is made for them."""
    runs = []
    real = undefined.replay

    def counted(*given: Any, **named: Any) -> Recording:
        runs.append(given)
        return real(*given, **named)

    monkeypatch.setattr(undefined, "replay", counted)
    for built in ("model", "hardware"):
        slot = {"desk": {"model": "gpio", "base": BASE, "size": 0x1000, "as": built}}
        assert run(steps("read desk.IN", tmp_path), slot=slot).findings == ()
        assert len(runs) == 1
        runs.clear()
    run(steps("read desk.KEPT", tmp_path))
    assert len(runs) == 2


def ask(bus: Bus) -> None:
    """Read a word that nothing has written."""
    bus.read("desk.KEPT")


def test_a_driver_gets_a_note() -> None:
    """A driver may do something else in a second run: a note says that nothing was looked for."""
    recording = run(ask)
    assert recording.undefined_seen == ()
    assert recording.run_notes == (
        "Busbox did not check whether undefined bits (desk: kept and also) reach the bus or a pin: "
        "this traffic is decided while it runs, and could differ in a second run.",
    )


def test_a_long_run_gets_a_note(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit itself is still looked at; one cycle more is not."""
    file = steps("read desk.KEPT", tmp_path)
    cycles = run(file).cycles
    monkeypatch.setattr(undefined, "MOST_CYCLES", cycles)
    assert len(run(file).undefined_seen) == 1
    monkeypatch.setattr(undefined, "MOST_CYCLES", cycles - 1)
    recording = run(file)
    assert recording.undefined_seen == ()
    (note,) = recording.run_notes
    assert note.endswith(f"the second run is only made for runs of up to {cycles - 1} cycles.")


def test_a_live_run_gets_a_note(tmp_path: Path) -> None:
    """What was typed came in its own time."""
    slots = {
        "desk": {"model": Desk, "base": BASE, "size": 0x10},
        "telegraph": {"model": "uart", "base": 0x5000_0000, "size": 0x1000},
    }
    keys = {"clock": "1 MHz", "slot": slots, "traffic": steps("read desk.KEPT", tmp_path)}
    recording = Bench(keys).run("python", live=Live("telegraph", Script({})))
    assert recording.undefined_seen == ()
    assert "a second run cannot repeat what is typed" in recording.run_notes[0]


def test_of_a_program_the_first_difference_alone_is_told(tmp_path: Path) -> None:
    """From there on it may do anything: here it writes the word to a pin, and reads another one."""
    code = Assembly(0)
    code.words(*asm.li(5, BASE), asm.lw(6, 5, 0), asm.lw(7, 5, 4), asm.sw(7, 5, 0), asm.jal(0, 0))
    (tmp_path / "program.bin").write_bytes(code.image())
    keys = {
        "clock": "1 MHz",
        "slot": {"desk": {"model": Desk, "base": BASE, "size": 0x10}},
        "core": {"isa": "rv32im", "memory": [{"at": 0, "size": 0x100}]},
        "traffic": {"file": "program.bin", "at": 0},
    }
    recording = Bench(keys, folder=tmp_path).run("python")
    assert len(recording.accesses) == 3
    assert [(one.what, one.access) for one in recording.undefined_seen] == [("word", 0)]


def test_a_saved_recording_is_judged_as_the_run_was(tmp_path: Path) -> None:
    """The findings follow from its facts; a second run is not made again."""
    file = steps("read desk.ALSO\nread desk.KEPT", tmp_path)
    for shows in ("word", "error", "pin"):
        recording = run(file, shows)
        assert texts(recording)
        saved = tmp_path / "noon.recording.npz"
        recording.save(saved)
        loaded = Recording.load(saved)
        same(loaded, recording)
        same(busbox.judge(loaded), recording)


@pytest.mark.parametrize(
    "spoiled",
    [
        {"access": 99}, {"access": -1}, {"what": "noise"}, {"what": "level"},
        {"what": "answer", "zeros": 99}, {"what": "answer", "ones": -1}, {"cycle": "0"},
    ],
)  # fmt: skip
def test_a_spoiled_fact_is_refused(spoiled: dict[str, Any], tmp_path: Path) -> None:
    """An access, a pin or a terminator that there is not: the recording is incomplete."""
    recording = run(steps("read desk.KEPT", tmp_path))
    (seen,) = recording.undefined_seen
    saved = tmp_path / "noon.recording.npz"
    vars(recording)["undefined_seen"] = (UndefinedSeen(**vars(seen) | spoiled),)
    recording.save(saved)
    with pytest.raises(busbox.InputError, match="is an incomplete recording"):
        Recording.load(saved)
