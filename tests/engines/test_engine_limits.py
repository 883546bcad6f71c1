"""What engines refuse, announce, prove, and how they stop."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import (
    Assert,
    ClockDomain,
    ClockSignal,
    Instance,
    IOBufferInstance,
    IOPort,
    Module,
    Print,
    ResetSignal,
    Signal,
)

from busbox import Recording, load_bench
from busbox.basics.errors import EngineError, InputError, ModelError
from busbox.bench.bench import Bench
from busbox.bus.hardware import Hardware, Registers
from busbox.device import Answer, BusAccess, Declaration, Hold, RegisterModel
from busbox.engines import engine_class
from busbox.engines.reference import ReferenceEngine
from busbox.explain.difference import first_difference
from busbox.map.registers import Register, RegisterTable
from tests.check.port import broken_devices
from tests.cli.saying import plain_environment, say
from tests.engines.test_engines_agree import FAST, agree

EVERY = ("reference", *FAST)
STRIKE = RegisterTable(Register("STRIKE", 0, "rw", "Rings for so many cycles.", width=16))


class Bell(Declaration):
    """A bell with one register."""

    table = STRIKE


def bench_of(model: Any, steps: str, folder: Path, **keys: Any) -> Bench:
    """Return a bench with one device, called bell."""
    (folder / "bell.steps").write_text(steps, encoding="utf-8")
    slot = {"model": model, "base": 0, "size": 16, **keys.pop("slot", {})}
    keys = {"clock": "1 MHz", "slot": {"bell": slot}, "traffic": {"file": "bell.steps"}, **keys}
    return Bench(keys, folder=folder)


# Refusals.


def night(m: Module, registers: Registers) -> None:
    m.domains.night = ClockDomain()
    lamp = Signal()
    m.d.night += lamp.eq(~lamp)


def night_that_is_nowhere(m: Module, registers: Registers) -> None:
    lamp = Signal()
    m.d.night += lamp.eq(~lamp)


def night_on_the_same_clock(m: Module, registers: Registers) -> None:
    night(m, registers)
    m.d.comb += ClockSignal("night").eq(ClockSignal())


def reset_at_once(m: Module, registers: Registers) -> None:
    m.domains.dusk = ClockDomain(async_reset=True)
    lamp = Signal()
    m.d.dusk += lamp.eq(~lamp)
    m.d.comb += [
        ClockSignal("dusk").eq(ClockSignal()),
        ResetSignal("dusk").eq(registers.STRIKE.value[0]),
    ]


def falling(m: Module, registers: Registers) -> None:
    m.domains.dusk = ClockDomain(clk_edge="neg", reset_less=True)
    lamp = Signal()
    m.d.dusk += lamp.eq(~lamp)
    m.d.comb += ClockSignal("dusk").eq(ClockSignal())


def black_box(m: Module, registers: Registers) -> None:
    m.submodules.hammer = Instance("hammer", i_force=registers.STRIKE.value, o_rings=Signal())


def tristate(m: Module, registers: Registers) -> None:
    value = registers.STRIKE.value
    m.submodules.pad = IOBufferInstance(IOPort(1, name="rope"), o=value[0], oe=value[1])


def loop(m: Module, registers: Registers) -> None:
    one, other = Signal(name="one"), Signal(name="other")
    m.d.comb += [one.eq(other ^ registers.STRIKE.value[0]), other.eq(one)]


REFUSED = {
    night: "top.slot_bell.lamp: its clock must be a port of the top; without one it would never tick",
    night_that_is_nowhere: "top.slot_bell.lamp: there must be one clock, top.clk, not top.night_clk "
    "too",
    night_on_the_same_clock: "top.night: there must be one clock domain, not night too",
    reset_at_once: "top.slot_bell.lamp: an asynchronous reset is not run; the domain must have a "
    "synchronous one or none",
    falling: "top.slot_bell.lamp: a register on the falling edge of the clock is not run",
    black_box: "top.slot_bell.hammer: a black box (Instance of 'hammer') is not run",
    tristate: "top.slot_bell.rope: a tristate buffer is not run; a pin must be an input or an output",
    loop: "top: signals must not go round in a loop: one[0], other[0]",
}


def hardware_with(extra: Any) -> type[Hardware]:
    """Return a bell in Amaranth with something more in it."""

    class BellHardware(Bell, Hardware):
        def build(self, m: Module, registers: Registers) -> None:
            extra(m, registers)

    return BellHardware


@pytest.mark.parametrize("engine", EVERY)
@pytest.mark.parametrize("extra", REFUSED, ids=lambda one: one.__name__)
def test_hardware_that_is_not_run_is_refused_by_name(
    extra: Any, engine: str, tmp_path: Path
) -> None:
    """Every engine refuses it, the judge too: Amaranth's simulator would run something else."""
    bench = bench_of(hardware_with(extra), "write bell.STRIKE 5\n", tmp_path)
    with pytest.raises(EngineError) as told:
        bench.run(engine)
    assert str(told.value) == REFUSED[extra]


@pytest.mark.parametrize("engine", FAST)
def test_prints_and_checks_are_announced(engine: str, tmp_path: Path) -> None:
    """An engine that does not carry them out says so, and names them."""

    def prints(m: Module, registers: Registers) -> None:
        with m.If(registers.STRIKE.written):
            m.d.sync += [Print("ding"), Assert(registers.STRIKE.after < 3)]

    recording = bench_of(hardware_with(prints), "write bell.STRIKE 5\n", tmp_path).run(engine)
    assert recording.notes == (
        f"Engine {engine} does not execute the prints and checks of the hardware (engine reference "
        "does): top.slot_bell: print 'ding\\n', top.slot_bell: assert.",
    )


def test_the_judge_carries_prints_and_checks_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Amaranth's simulator prints, and stops where an assertion is broken."""

    def prints(m: Module, registers: Registers) -> None:
        with m.If(registers.STRIKE.written):
            m.d.sync += [Print("ding"), Assert(registers.STRIKE.after < 3)]

    bench = bench_of(hardware_with(prints), "write bell.STRIKE 2\nwrite bell.STRIKE 5\n", tmp_path)
    with pytest.raises(AssertionError):
        bench.run("reference")
    assert capsys.readouterr().out == "ding\nding\n"


# Devices that break rules.


def broken() -> list[type[Hardware]]:
    """Return the devices of the check of conformance that can stand in a slot."""
    return [
        one
        for one in vars(broken_devices).values()
        if isinstance(one, type)
        and issubclass(one, broken_devices.Box)
        and one is not broken_devices.EachItsOwn
    ]


def rules_broken(recording: Recording) -> list[str]:
    """Return the messages about the device's own port."""
    return [one.message for one in recording.findings if one.message.startswith("port bell")]


@pytest.mark.parametrize("device", broken(), ids=lambda one: one.__name__)
def test_a_device_that_breaks_rules_is_recorded_alike(
    device: type[Hardware], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What breaks a rule of the bus is told in the same words by every engine, and by the checker."""
    steps = ["write 0 0x12", "read 0 +1", "pause 3", "read 4", "write 8 1 +2", "read 0xc", "reset +2",
             "read 8 +1", "write 0x4000 1", "read 0"]  # fmt: skip
    slot = {"wait": max(1, device.least_wait)}
    bench = bench_of(device, "\n".join(steps * 2) + "\n", tmp_path, slot=slot, hang_after=60)
    watched = bench.run("reference", 400)
    monkeypatch.setattr(ReferenceEngine, "watch_ports", False)
    expected = bench.run("reference", 400)
    assert rules_broken(expected) == rules_broken(watched)
    for engine in FAST:
        agree(expected, bench.run(engine, 400))


def test_some_of_them_break_rules(tmp_path: Path) -> None:
    """Among the devices are such that the rule is found, so the comparison is not of nothing."""
    found = 0
    for device in broken():
        bench = bench_of(device, "write 0 1\nread 0 +1\nreset +1\nread 0\n", tmp_path,
                         slot={"wait": max(1, device.least_wait)})  # fmt: skip
        found += bool(rules_broken(bench.run("python", 200)))
    assert found >= 3


# Models.


class Raises(RegisterModel):
    """A model with a mistake in it."""

    table = STRIKE

    def write_STRIKE(self, write: Any) -> None:
        """Raise, at the second stroke."""
        if write.value > 1:
            raise LookupError("the rope is broken")


@pytest.mark.parametrize("engine", EVERY)
def test_a_model_that_raises_is_told_with_its_place(engine: str, tmp_path: Path) -> None:
    """Slot, file, line and hook, cycle and access; its own error is the cause."""
    bench = bench_of(Raises, "write bell.STRIKE 1\nwrite bell.STRIKE 2 +3\n", tmp_path)
    with pytest.raises(ModelError) as told:
        bench.run(engine)
    pattern = (
        r"slot\.bell: its access raised LookupError: the rope is broken "
        r"\(tests/engines/test_engine_limits\.py:\d+, in Raises\.write_STRIKE\), "
        r"in cycle 7, access 1"
    )
    assert re.fullmatch(pattern, str(told.value))
    assert isinstance(told.value.__cause__, LookupError)


class Rope(RegisterModel):
    """A model that does nothing but keep a word."""

    table = STRIKE


class Answers(RegisterModel):
    """A model that answers as it is told."""

    table = STRIKE
    answer: Any = None

    def access(self, access: BusAccess) -> Answer:
        """Answer."""
        given: Answer = type(self).answer
        return given


@pytest.mark.parametrize("engine", EVERY)
@pytest.mark.parametrize(
    ("given", "message"),
    [
        (None, "a model must answer a word, ERROR or a Hold, not None"),
        ("1", "a model must answer a word, ERROR or a Hold, not '1'"),
        (Hold(2), "a hold in cycle 2 must end in a later cycle, not in 2"),
    ],
)
def test_an_answer_that_is_none_is_refused(
    engine: str, given: Any, message: str, tmp_path: Path
) -> None:
    """Each engine says what a model must answer."""
    chosen = type("Chosen", (Answers,), {"answer": given})
    with pytest.raises(ModelError) as told:
        bench_of(chosen, "read bell.STRIKE\n", tmp_path).run(engine)
    assert str(told.value).partition(" (")[0] == f"slot.bell: {message}"


@pytest.mark.parametrize("engine", EVERY)
def test_a_word_has_32_bits(engine: str, tmp_path: Path) -> None:
    """A model that answers with a larger number or a negative one is refused; a truth is 1 or 0."""
    for given, shown in ((0x1_2345_6789, "0x123456789"), (-1, "-1")):
        chosen = type("Chosen", (Answers,), {"answer": given})
        with pytest.raises(ModelError, match=f"from 0 to 0xffffffff, not {shown} "):
            bench_of(chosen, "read bell.STRIKE\n", tmp_path).run(engine)
    chosen = type("Chosen", (Answers,), {"answer": True})
    recording = bench_of(chosen, "read bell.STRIKE\n", tmp_path).run(engine)
    assert recording.accesses.data[0] == 1


# A hang.


class Holds(RegisterModel):
    """A model that holds each access, for good or until a cycle."""

    table = STRIKE
    until: int | None = None

    def access(self, access: BusAccess) -> Answer:
        """Hold."""
        return Hold(type(self).until)


def hang(model: Any, folder: Path, engine: str, **keys: Any) -> str:
    """Return the message of a run that hangs."""
    recording = bench_of(model, "read bell.STRIKE +2\n", folder, hang_after=50, **keys).run(engine)
    (finding,) = (one for one in recording.findings if one.rule == "bus-hang")
    assert recording.ended == "hang"
    assert recording.cycles == 54
    return finding.message


PROOF = (
    "Nothing has changed since cycle 4 and no further input is due, so it would never be answered."
)


@pytest.mark.parametrize("engine", FAST)
def test_a_hang_is_proved(engine: str, tmp_path: Path) -> None:
    """Where nothing moves and nothing is to come, the finding says since when; the run is as long."""
    assert PROOF in hang(Holds, tmp_path, engine)
    assert PROOF not in hang(Holds, tmp_path, "reference")


@pytest.mark.parametrize("engine", FAST)
def test_a_hang_is_not_proved_where_something_is_to_come(engine: str, tmp_path: Path) -> None:
    """A hold that would end later, or a change of an input later, leaves it open."""
    later = type("Later", (Holds,), {"until": 1000})
    assert PROOF not in hang(later, tmp_path, engine)
    levers = {"model": "gpio", "base": 0x100, "size": 0x40}
    slots = {"bell": {"model": Holds, "base": 0, "size": 16}, "levers": levers}
    pulled = [{"at": 500, "pin": "levers.in.0", "level": 1}]
    keys = {"clock": "1 MHz", "slot": slots, "input": pulled, "hang_after": 50}
    (tmp_path / "bell.steps").write_text("read bell.STRIKE +2\n", encoding="utf-8")
    bench = Bench({**keys, "traffic": {"file": "bell.steps"}}, folder=tmp_path)
    (finding,) = (one for one in bench.run(engine).findings if one.rule == "bus-hang")
    assert PROOF not in finding.message


# Comparing engines.


def test_engines_are_compared(capsys: pytest.CaptureFixture[str]) -> None:
    """``--check-engines`` names the engines and says that they agree; so does its JSON."""
    shown = say(capsys, "run", "edges", "--engine", "python", "--check-engines")
    assert shown.endswith("Engines python, llvm and reference recorded identical runs\n")
    shown = say(capsys, "run", "edges", "--engine", "python", "--check-engines", "--json")
    assert '"compared": [\n      "python",\n      "llvm",\n      "reference"\n    ]' in shown


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ("value = commands[at + 9]", "value = commands[at + 9] ^ 1"),
        ("log[at + 1] = cycle - 1", "log[at + 1] = cycle"),
        ("start = cycle + every", "start = cycle + every + 1"),
    ],
)
@pytest.mark.usefixtures("built_afresh")
def test_an_engine_that_lies_is_found(
    wrong: str, message: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a mistake in its loop, the first difference is named with cycle, access and register."""
    from busbox.engines import python_kernel

    monkeypatch.setattr(python_kernel, "LOOP", python_kernel.LOOP.replace(wrong, message))
    assert message in python_kernel.LOOP
    page = say(capsys, "run", "first_light", "--engine", "reference", "--check-engines", code=1)
    shown = " ".join(page.split("\n\n")[-1].split())
    assert shown.startswith("Engines reference, llvm and python differ, first in cycle ")
    assert ", access " in shown
    assert " with engine reference, " in shown
    assert shown.endswith(" with engine python")


def test_each_part_of_a_recording_is_compared() -> None:
    """A change in any part is found, at its cycle."""
    from dataclasses import replace

    one = load_bench("edges").run()
    late = replace(
        one, registers={**one.registers, "clock": {**one.registers["clock"], "ALARM": 9}}
    )
    event = replace(one.events[0], details={"colours": [7]})
    line = one.lines["lamps.line"]
    levels = line.levels.copy()
    levels[3] ^= 1
    changed: dict[str, tuple[Recording, int]] = {
        "clock.ALARM at the end": (late, one.cycles - 1),
        "event 0": (replace(one, events=(event, *one.events[1:])), one.events[0].cycle),
        "the end": (replace(one, cycles=one.cycles + 1), one.cycles - 1),
        "edge 3 of lamps.line": (
            replace(one, lines={**one.lines, "lamps.line": replace(line, levels=levels)}),
            int(line.cycles[3]),
        ),
        "mark 0": (replace(one, marks=((one.marks[0][0], "x"), *one.marks[1:])), one.marks[0][0]),
    }
    for what, (other, cycle) in changed.items():
        difference = first_difference(one, other)
        assert difference is not None, what
        assert (difference.what, difference.cycle) == (what, cycle)
    assert first_difference(one, load_bench("edges").run()) is None


# Stopping.

FOREVER = """
clock = "16 MHz"
[slot.clock]
model = "timer"
base = 0
size = 0x40
as = "hardware"
[slot.crier]
model = "crier.py:Crier"
base = 0x100
size = 4
[traffic]
file = "long.steps"
"""
#: Says on stdout that the run has begun.
CRIER = """
import sys
from busbox.device import RegisterModel
from busbox.map.registers import Register, RegisterTable
class Crier(RegisterModel):
    table = RegisterTable(Register("CALL", 0, "wo"))
    def write_CALL(self, write):
        print("begins", file=sys.stderr, flush=True)
"""
#: Python's own handler, also where whoever started the tests ignores Ctrl-C, as a shell's ``&`` does.
MAIN = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)
from busbox.cli import main
main()
"""


@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
@pytest.mark.parametrize("engine", EVERY)
def test_a_long_run_can_be_stopped(engine: str, tmp_path: Path) -> None:
    """Ctrl-C ends a run that would take hours, in one line, with exit code 130."""
    (tmp_path / "bench.toml").write_text(FOREVER, encoding="utf-8")
    (tmp_path / "crier.py").write_text(CRIER, encoding="utf-8")
    (tmp_path / "long.steps").write_text(
        "write clock.ALARM 5\nwrite crier.CALL 1\npause 100000 s\nread clock.NOW\n",
        encoding="utf-8",
    )
    code, out, error = stopped("run", str(tmp_path), "--engine", engine)
    assert (code, out) == (130, "")
    assert error.endswith("\nstopped\n")
    assert "Traceback" not in error


#: Hardware that is never built to its end.
ENDLESS = """
import sys
import time
from busbox.bus.hardware import Hardware
from busbox.map.registers import Register, RegisterTable
class Endless(Hardware):
    table = RegisterTable(Register("WORD", 0))
    def build(self, m, registers):
        print("begins", file=sys.stderr, flush=True)
        time.sleep(600)
"""


@pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")
@pytest.mark.parametrize("engine", EVERY)
def test_building_can_be_stopped(engine: str, tmp_path: Path) -> None:
    """Ctrl-C while hardware is built says that it stopped, and nothing of what was not built."""
    bench = '[slot.endless]\nmodel = "endless.py:Endless"\nbase = 0\nsize = 4\n'
    bench += '[traffic]\nfile = "one.steps"\n'
    (tmp_path / "bench.toml").write_text('clock = "1 MHz"\n' + bench, encoding="utf-8")
    (tmp_path / "one.steps").write_text("read endless.WORD\n", encoding="utf-8")
    (tmp_path / "endless.py").write_text(ENDLESS, encoding="utf-8")
    assert stopped("run", str(tmp_path), "--engine", engine) == (130, "", "\nstopped\n")


def stopped(*words: str) -> tuple[int, str, str]:
    """Run a verb in a process of its own, and press Ctrl-C soon after it has said that it begins.

    Return its exit code, and what it says on stdout, and on stderr after that.
    """
    with subprocess.Popen(
        [sys.executable, "-c", MAIN, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        env=plain_environment(),
    ) as run:
        try:
            assert run.stderr is not None
            assert run.stderr.readline() == "begins\n"
            time.sleep(0.5)  # what comes next has begun by now
            run.send_signal(signal.SIGINT)
            out, error = run.communicate(timeout=60)
        finally:
            run.kill()  # or leaving this block would wait for ever
    return run.returncode, out, error


def test_every_engine_has_its_name() -> None:
    """What a recording calls an engine is what the option calls it."""
    assert [engine_class(name).name for name in EVERY] == list(EVERY)  # type: ignore[attr-defined]


@pytest.mark.parametrize("engine", FAST)
def test_idle_time_is_free_where_nothing_moves(engine: str, tmp_path: Path) -> None:
    """Ten days of pause are over at once (cycle by cycle it would take years), and end where they
    must.
    """
    bench = bench_of(Rope, "pause 900000 s\nread bell.STRIKE\n", tmp_path)
    recording = bench.run(engine)
    assert recording.cycles == 900_000_000_004
    assert recording.accesses.end.tolist() == [900_000_000_002]


@pytest.mark.parametrize("engine", FAST)
def test_a_run_without_an_end_in_sight_is_refused(engine: str, tmp_path: Path) -> None:
    """Cycles have 62 bits: a run that needs more is an error, and does not end in silence."""
    bench = bench_of(Rope, "pause 1000000000000000000\n" * 5, tmp_path)
    with pytest.raises(InputError, match="must be shorter than 4,611,686,018,427,387,904 cycles"):
        bench.run(engine)
