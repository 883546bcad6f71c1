"""Names and inner signals in waveform files, through an independent reader (vcdvcd)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from amaranth.hdl import Module, Signal
from vcdvcd import VCDVCD

from busbox import load_bench
from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.bus.hardware import Registers
from busbox.check.twin import Pair
from busbox.cpu.steps import AccessStep, Named
from busbox.engines import engine_class
from busbox.explain import inner_signals as module
from busbox.explain.inner_signals import InnerSignal, inner_signals
from busbox.exports.contract import Result, target_of
from busbox.exports.waveform import write_deep
from busbox.exports.waveform_pair import Run, write_pair
from busbox.models.timer.hardware import TimerHardware
from busbox.recording import Recording
from tests.cli.saying import say

pytestmark = pytest.mark.quick

#: Cycles of the runs: the lamps send in them.
UNTIL = 2_500


def in_hardware(name: str) -> Bench:
    """Return a bench with the twin of every device."""
    bench = load_bench(name)
    return bench.with_values([f"slot.{slot}.as=hardware" for slot in bench.keys["slot"]])


def written(bench: Bench, recording: Recording, path: Path, depth: int = 0) -> VCDVCD:
    """Return a recording's waveform file as the reader has it."""
    with target_of(str(path)) as target:
        write_deep(Result(recording, bench.system), target, depth)
    return VCDVCD(str(path))


def word(text: str) -> str:
    """Return a text in base 2 as Verilog keeps it (IEEE 1364-2005, 3.6), without leading zeros."""
    return f"{int.from_bytes(text.encode(), 'big'):b}"


def stamp(cycle: int) -> int:
    """Return when a cycle begins, in picoseconds, at 16 MHz."""
    return cycle * 62_500


def signal(vcd: VCDVCD, name: str) -> list[tuple[int, str]]:
    """Return what a signal becomes, whatever its width."""
    (found,) = (one for one in vcd.signals if one.partition("[")[0] == name)
    return [(time, value) for time, value in vcd[found].tv]


def test_a_register_is_named_where_an_access_of_it_ends(tmp_path: Path) -> None:
    """In the last cycle of an access, and in no other one, the slot shows the register's name."""
    bench = load_bench("first_light")
    recording = bench.run("python", until=UNTIL)
    vcd = written(bench, recording, tmp_path / "a.vcd")
    tables = {device.name: device.slot.table for device in bench.system().devices}
    expected: dict[str, dict[int, str]] = {name: {} for name in tables}
    for address, slot, end in zip(
        *(recording.accesses[name].tolist() for name in ("address", "slot", "end")), strict=True
    ):
        info = recording.slots[slot]
        place = tables[info.name].at(address - info.base)
        assert place is not None
        expected[info.name][end] = word(place.name)
    for name, ends in expected.items():
        seen = dict(signal(vcd, f"busbox.{name}.register"))
        shown = "0"
        for cycle in range(recording.cycles):
            shown = seen.get(stamp(cycle), shown)
            assert shown == ends.get(cycle, "0"), (name, cycle)


def test_executed_firmware_shows_its_function_and_address(tmp_path: Path) -> None:
    """From the first cycle of an access on, the instruction that made it and its function are shown."""
    bench = load_bench("signal_cabin")
    recording = bench.run("python", until=3_000)
    vcd = written(bench, recording, tmp_path / "a.vcd")
    first = int(recording.accesses.start[0])
    pcs = dict(signal(vcd, "busbox.cpu.pc"))
    functions = dict(signal(vcd, "busbox.cpu.function"))
    assert pcs[0] == "x"
    assert pcs[stamp(first)] == f"{int(recording.accesses.pc[0]):b}"
    assert functions[stamp(first)] == word(
        "main"
    )  # signal_cabin.c: main sets the hardware up first


def test_the_inside_of_hardware_agrees_with_its_outside() -> None:
    """What pins and bus of a device show inside is what was recorded of them, in every cycle."""
    bench = in_hardware("first_light")
    recording = bench.run("python", until=UNTIL)
    found = {
        f"{one.slot}.{'.'.join((*one.path, one.name))}": one
        for one in inner_signals(recording, bench.system(), 3)
    }
    line = recording.lines["lamps.line"]
    assert history(found["lamps.pin_line"]) == [
        *zip(line.cycles.tolist(), line.levels.tolist(), strict=True)
    ]
    assert len(line.cycles) > 40
    lamps = [slot.name for slot in recording.slots].index("lamps")
    ends = recording.accesses.end[recording.accesses.slot == lamps]
    acknowledged = np.zeros(recording.cycles, dtype=int)
    acknowledged[ends] = 1
    shown = np.zeros(recording.cycles, dtype=int)
    for (cycle, level), (after, _) in zip(
        history(found["lamps.bus__ack"]),
        [*history(found["lamps.bus__ack"])[1:], (recording.cycles, 0)],
        strict=True,
    ):
        shown[cycle:after] = level
    assert shown.tolist() == acknowledged.tolist()
    assert {len(one.path) for one in found.values()} == {0, 1, 2}


def history(inner: InnerSignal) -> list[tuple[int, int]]:
    """Return (cycle, value) of a signal."""
    return [*zip(inner.cycles, inner.values, strict=True)]


def test_cycles_in_which_nothing_moves_are_left_out_exactly(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Signals are the same if every cycle is run, with inputs, resets and memories in between."""
    bench = in_hardware("interrupted").with_values(["reset=[{at = 700, length = 3}]"])
    recording = bench.run("python", until=1_500)
    found = inner_signals(recording, bench.system(), 3)
    monkeypatch.setattr(module, "_QUIET", 1 << 30)
    assert found == inner_signals(recording, bench.system(), 3)
    assert sum(len(one.cycles) for one in found) > 500


def test_every_engine_gives_the_same_file(tmp_path: Path) -> None:
    """Inner signals follow from what is recorded, and not from what recorded it."""
    bench = in_hardware("first_light")
    files = []
    for engine in ("python", "reference"):
        path = tmp_path / f"{engine}.vcd"
        recording = bench.run(engine, until=900)
        vcd = written(bench, replace(recording), path, depth=2)
        files.append(path.read_bytes())
    assert files[0] == files[1]
    assert signal(vcd, "busbox.lamps.hardware.sender.clock")
    assert max(name.count(".") for name in vcd.signals) == 4


def test_hardware_that_does_not_do_what_was_recorded_is_refused() -> None:
    """A recording of other hardware gives no waveform of this one."""
    recording = in_hardware("first_light").run("python", until=UNTIL)
    other = in_hardware("first_light").with_values(["slot.lamps.wait=3"])
    with pytest.raises(
        InputError, match="the hardware does not do what was recorded: access 157 ends"
    ):
        inner_signals(recording, other.system(), 1)


class LateTimer(TimerHardware):
    """A timer whose counter is one cycle behind."""

    def build(self, m: Module, registers: Registers) -> None:
        super().build(m, registers)
        late = Signal(len(self.watch_data))
        m.d.sync += late.eq(registers.NOW.shown)
        registers.NOW.show(late)


def test_both_sides_of_a_twin_and_their_difference_are_written(tmp_path: Path) -> None:
    """The difference is 1 where the sides differ, as the reader has them, and nowhere else."""
    bench = Bench(
        {"clock": "16 MHz", "slot": {"timer": {"model": "timer", "base": 0, "size": 0x20}}}
    )
    system = bench.system([AccessStep(False, Named("timer", "NOW"), wait=3), AccessStep(False, 4)])
    pair = Pair(system, 0, LateTimer, engine_class("python"))
    assert pair.played() is not None
    with target_of(str(tmp_path / "a.vcd")) as target:
        sides = [
            Run(name, side.recording, of, "timer", side.registers)
            for name, (of, _, side) in zip(("device", "twin"), pair.shown, strict=True)
        ]
        write_pair(sides[0], sides[1], target.text)
    vcd = VCDVCD(str(tmp_path / "a.vcd"))
    names = [
        name.partition("[")[0].removeprefix("busbox.device.")
        for name in vcd.signals
        if name.startswith("busbox.device.")
    ]
    times = sorted({time for name in vcd.signals for time, _ in vcd[name].tv})
    anywhere = [differing(vcd, name, times) for name in names]
    assert [name for name, found in zip(names, anywhere, strict=True) if any(found)] == [
        "timer.registers.NOW"
    ]
    for name, found in zip(names, anywhere, strict=True):
        assert levels(vcd, f"busbox.difference.{name}", times) == found, name
    together = [int(any(at)) for at in zip(*anywhere, strict=True)]
    assert levels(vcd, "busbox.difference.any", times) == together


def levels(vcd: VCDVCD, name: str, times: Sequence[int]) -> list[int]:
    """Return the values of a signal at some times."""
    (found,) = (one for one in vcd.signals if one.partition("[")[0] == name)
    return [int(vcd[found][time], 2) for time in times]


def differing(vcd: VCDVCD, name: str, times: Sequence[int]) -> list[int]:
    """Return whether a signal differs between the sides, at some times."""
    sides = (levels(vcd, f"busbox.{side}.{name}", times) for side in ("device", "twin"))
    return [int(one != two) for one, two in zip(*sides, strict=True)]


def test_the_verbs_write_the_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """--vcd-depth goes into hardware, needs --vcd and a number; twin --vcd writes both sides."""
    monkeypatch.chdir(tmp_path)
    options = ["--set", 'slot.lamps.as="hardware"', "--until", "20us"]
    say(capsys, "run", "first_light", *options, "--vcd", "a.vcd", "--vcd-depth", "1")
    assert "scope module hardware" in Path("a.vcd").read_text(encoding="ascii")
    told = say(capsys, "run", "first_light", "--vcd-depth", "1", code=2)
    assert told == "busbox: --vcd-depth: needs --vcd FILE\n"
    told = say(capsys, "run", "first_light", "--vcd", "b.vcd", "--vcd-depth", "0", code=2)
    assert told == "busbox: --vcd-depth: must be at least 1, not 0\n"
    say(capsys, "twin", "first_light", "levers", "--random", "20", "--vcd", "c.vcd")
    assert "scope module difference" in Path("c.vcd").read_text(encoding="ascii")
    told = say(capsys, "twin", "first_light", "levers", "--vcd", "none/c.vcd", code=2)
    assert told == "busbox: --vcd: there is no folder 'none'\n"
