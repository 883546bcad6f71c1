"""Lockstep itself: what is drawn, what is compared, what is shrunk, what is told."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import Module, Signal

from busbox import load_bench
from busbox.bench.bench import Bench
from busbox.bus.hardware import Registers
from busbox.check.twin import Pair, Plan, compare, plan_of, random_plan, shrink
from busbox.check.twin.save import save
from busbox.cli import main
from busbox.cpu.steps import AccessStep, Named
from busbox.device.twins import twin_of
from busbox.engines import engine_class
from busbox.models.gpio.hardware import GpioHardware
from busbox.models.timer.hardware import TimerHardware
from busbox.run.loop import replay
from busbox.system.system import System

SLOTS: dict[str, dict[str, Any]] = {
    "gpio": {"model": "gpio", "base": 0, "size": 0x40},
    "uart": {"model": "uart", "base": 0, "size": 0x10, "divisor": 2},
    "pulse_led": {
        "model": "pulse_led", "base": 0, "size": 0x200, "lamps": 3, "count": 1, "high": 0x2_0001,
        "period": 0x5_0003,
    },
    "timer": {"model": "timer", "base": 0, "size": 0x20},
    "memory": {"model": "memory", "base": 0, "size": 0x40},
}  # fmt: skip
REFERENCE = engine_class("reference")


def system_of(device: str, wait: int = 1) -> System:
    """Return a system with one device in a slot of its own name."""
    return Bench({"clock": "1 MHz", "slot": {device: SLOTS[device] | {"wait": wait}}}).system([])


def twin(device: str) -> Any:
    """Return the class of a device's twin."""
    return twin_of(system_of(device).devices[0].model, device)


def pair_of(device: str) -> Pair:
    """Return a device's model and twin."""
    return Pair(system_of(device), 0, twin(device), REFERENCE)


@pytest.mark.parametrize(
    "device",
    [pytest.param(one, marks=[pytest.mark.quick] if one == "gpio" else []) for one in SLOTS],
)
def test_a_twin_is_its_model(device: str) -> None:
    """Over six hundred random accesses every read, end, pin and register is the same in every cycle."""
    assert pair_of(device).drawn(600, seed=1) is None


@pytest.mark.long
@pytest.mark.parametrize("device", SLOTS)
def test_a_twin_is_its_model_for_long(device: str) -> None:
    """Over a hundred thousand random accesses nothing differs."""
    assert pair_of(device).drawn(100_000, seed=2) is None


@pytest.mark.parametrize("device", ["gpio", "uart", "pulse_led", "timer"])
def test_accesses_are_aimed_at_events(device: str) -> None:
    """At least a fifth of the drawn accesses end within two cycles of what the device does by
    itself.
    """
    plan = random_plan(system_of(device), 0, 500, 7)
    assert plan.aimed * 5 >= 500
    assert plan.resets


def test_a_plan_is_drawn_the_same_again() -> None:
    """One seed, one plan; another seed, another one."""
    system = system_of("uart")
    assert random_plan(system, 0, 60, 3) == random_plan(system, 0, 60, 3)
    assert random_plan(system, 0, 60, 3) != random_plan(system, 0, 60, 4)


class LateTimer(TimerHardware):
    """A timer whose count is one behind."""

    def build(self, m: Module, registers: Registers) -> None:
        """Show the count of the cycle before."""
        super().build(m, registers)
        late = Signal(32)
        m.d.sync += late.eq(registers.NOW.shown)
        registers.NOW.show(late)


def test_the_first_difference_is_named() -> None:
    """NOW differs from cycle 1 on, in the register, whatever is read."""
    system = system_of("timer")
    plan = Plan((AccessStep(False, Named("timer", "NOW")),))
    difference, _, _ = compare(plan.system(system, 0), 0, LateTimer, REFERENCE)
    assert difference is not None
    found = (
        difference.what,
        difference.name,
        difference.cycle,
        difference.model,
        difference.hardware,
    )
    assert found == ("register", "NOW", 1, 1, 0)


class DeafGpio(GpioHardware):
    """A port that never asks for attention."""

    def build(self, m: Module, registers: Registers) -> None:
        """Leave the interrupt low."""
        super().build(m, registers)
        m.d.comb += self.pin_interrupt.eq(0)


def test_a_plan_is_shrunk() -> None:
    """Of many accesses one stays, that has edges kept, and of many inputs the one or two of an edge."""
    system = system_of("gpio")

    def differs(plan: Plan) -> Any:
        return compare(plan.system(system, 0), 0, DeafGpio, REFERENCE)[0]

    seeds = (random_plan(system, 0, 12, seed) for seed in range(20))
    plan = next(plan for plan in seeds if differs(plan) is not None)
    small = shrink(plan, differs, tries=300)
    found = differs(small)
    assert (found.what, found.name) == ("pin", "interrupt")
    assert [str(step.target) for step in small.steps if isinstance(step, AccessStep)] in (
        ["gpio.RISE"], ["gpio.FALL"],
    )  # fmt: skip
    assert len(small.steps) == 1
    assert len(small.inputs) <= 2
    assert not small.resets


def test_a_saved_plan_is_the_same_bench(tmp_path: Path) -> None:
    """What is saved plays the same accesses, inputs and resets in the same cycles."""
    system = system_of("uart")
    plan = random_plan(system, 0, 80, 5)
    alone = plan.system(system, 0)
    save(plan, alone, tmp_path / "there", tmp_path)
    saved = Bench.load(tmp_path / "there").run()
    _, model, _ = compare(alone, 0, twin("uart"), REFERENCE)
    for name in ("start", "end", "address", "data", "lanes", "terminator"):
        count = len(saved.accesses)
        assert saved.accesses[name].tolist() == model.recording.accesses[name].tolist()[:count]
    assert count == len(model.recording.accesses)
    assert saved.resets == model.recording.resets


def test_the_accesses_of_a_run_become_a_plan() -> None:
    """Played to the slot alone, a run's accesses begin and end in the same cycles."""
    system = system_of("pulse_led")
    plan = random_plan(system, 0, 60, 9)
    alone = plan.system(system, 0)
    _, model, _ = compare(alone, 0, twin("pulse_led"), REFERENCE)
    again = replace(plan_of(model.recording, alone, 0), resets=plan.resets)
    _, other, _ = compare(again.system(system, 0), 0, twin("pulse_led"), REFERENCE)
    for name in ("start", "end", "data", "terminator"):
        assert other.recording.accesses[name].tolist() == model.recording.accesses[name].tolist()


def test_the_accesses_of_executed_firmware_become_a_plan() -> None:
    """Played to the slot alone, what a core read and wrote is read and written again."""
    system = load_bench("signal_cabin").system()
    recording = replay(system, engine_class("python"), 4_000)
    number = [one.slot.name for one in system.devices].index("telegraph")
    alone = plan_of(recording, system, number).system(system, number)
    again = replay(alone, engine_class("python")).accesses
    own = recording.accesses.slot == number
    assert int(own.sum()) > 20
    for name in ("start", "end", "address", "data", "lanes", "terminator"):
        assert again[name].tolist() == recording.accesses[name][own].tolist()


FAULTY = """
from amaranth.hdl import Signal
from busbox.device import Declaration, Pin
from busbox.bus.hardware import Hardware
from busbox.device import RegisterModel
from busbox.map.registers import Field, Register, RegisterTable


class BellRegisters(Declaration):
    table = RegisterTable(
        Register("STRIKE", 0, "wo", "Rings for so many cycles.", width=16),
        Register("STATUS", 4, "ro", "It rings.", (Field("RINGING", 0, 0),)),
    )
    pins = (Pin("hammer"),)


class Bell(BellRegisters, RegisterModel):
    twin = "bell.py:BellHardware"
    silent_from = 0

    def write_STRIKE(self, write):
        if self.cycle >= self.silent_from and write.value:
            self.silent_from = write.shows + write.value
            self.host.edge("hammer", write.shows, 1, write.number)
            self.host.edge("hammer", self.silent_from, 0, write.number)

    def show_STATUS(self):
        return int(self.cycle < self.silent_from)

    def rest_at(self, cycle):
        return max(cycle, self.silent_from)

    def clear(self):
        self.silent_from = 0


class Gong(Bell):
    twin = None


class BellHardware(BellRegisters, Hardware):
    def build(self, m, registers):
        left = Signal(16)
        with m.If(left > LAST):
            m.d.sync += left.eq(left - 1)
        with m.Elif(registers.STRIKE.written):
            m.d.sync += left.eq(registers.STRIKE.after)
        registers.STATUS.show(left.any())
        m.d.comb += [self.pin_hammer.eq(left.any()), self.at_rest.eq(~left.any())]
"""
BENCH = """
clock = "1 MHz"
[slot.bell]
model = "bell.py:Bell"
base = 0x1000
size = 8
[traffic]
file = "day.steps"
"""


@pytest.fixture
def bells(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write a bench whose model and twin are in a file of one's own; the twin rings too long."""
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "bell.py").write_text(FAULTY.replace("LAST", "1"), encoding="utf-8")
    (tmp_path / "day.steps").write_text(
        "write bell.STRIKE 3\nread bell.STATUS +9\n", encoding="utf-8"
    )
    monkeypatch.chdir(tmp_path)
    return tmp_path


def told(*args: str) -> int:
    """Run a command; return its exit code."""
    with pytest.raises(SystemExit) as ended:
        main(list(args))
    return int(ended.value.code or 0)


def test_a_difference_is_told_and_saved(bells: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One's own twin that never falls silent: cycle, pin or register, both values, and the traffic."""
    assert told("twin", ".", "bell") == 1
    assert capsys.readouterr().out == (
        "bell: model bell.py:Bell and its twin BellHardware\n"
        "  they differ in cycle 6 (6 us): register bell.STATUS, after access 0\n"
        "      model     0x0 (RINGING 0)\n"
        "      hardware  0x1 (RINGING 1)\n"
        "  The shortest traffic found that shows it (1 line):\n"
        "    write  0x00001000 0x3\n"
        "  saved as a bench: busbox twin bell.twin bell --allow-outside\n"
    )
    assert told("twin", "bell.twin", "bell", "--allow-outside") == 1
    (bells / "bell.py").write_text(FAULTY.replace("LAST", "0"), encoding="utf-8")
    assert told("twin", "bell.twin", "bell", "--allow-outside") == 0
    capsys.readouterr()
    assert told("twin", ".", "bell", "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["difference"] is None
    assert "1 written to STRIKE" not in answer["exercised"]["never"]
    assert "STATUS written" in answer["exercised"]["never"]


def test_a_difference_in_a_recording_is_saved_with_the_files_of_the_model(
    bells: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The saved bench has its own copy of the model, and shows the same difference elsewhere."""
    assert told("run", ".", "--out", "kept") == 0
    (saved,) = (bells / "kept").glob("*.recording.npz")
    assert told("twin", str(saved), "bell", "--save", "shown") == 1
    assert "bell: model bell.py:Bell and its twin BellHardware\n" in capsys.readouterr().out
    (bells / "bell.py").unlink()
    moved = (bells / "shown").rename(bells / "elsewhere")
    assert told("twin", str(moved), "bell", "--json") == 1
    difference = json.loads(capsys.readouterr().out)["difference"]
    assert (difference["cycle"], difference["name"]) == (6, "STATUS")


@pytest.mark.parametrize(
    ("args", "text"),
    [
        (("twin", ".", "bell", "--random", "0"), "--random: must be at least 1, not 0"),
        (
            ("twin", ".", "bell", "--random", "many"),
            "--random: must be a number such as 12 or 0x0c, not 'many'",
        ),
        (
            ("run", ".", "--set", "slot.bell.model=bell.py:Gong", "--set", "slot.bell.as=hardware",
             "--set", "expect=[{level={pin='bell.hammer', level=0}}]"),
            "--set: slot.bell.as: model 'bell.py:Gong' has no hardware twin; its class must name "
            "one, such as twin = 'file.py:Class'",
        ),
        (("twin", ".", "bel"), "there is no slot 'bel'; did you mean 'bell'? (known: bell)"),
        (
            ("run", ".", "--set", "slot.bell.as=hardwear"),
            "--set: slot.bell.as: must be 'model' or 'hardware', not 'hardwear'; "
            "did you mean 'hardware'?",
        ),
        (
            ("run", ".", "--set", "slot.bell.model=bell.py:BellHardware", "--set",
             "slot.bell.as=model"),
            "--set: slot.bell.as: 'bell.py:BellHardware' is a hardware device and has no Python model",
        ),
        (
            ("run", ".", "--set", "slot.bell.model=bell.v"),
            "--set: slot.bell.model: there is no file 'bell.v'; did you mean 'bell.py'?",
        ),
        (
            ("run", ".", "--set", "slot.bell.model=bell.py:Gong", "--set", "slot.bell.as=hardware"),
            "--set: slot.bell.as: model 'bell.py:Gong' has no hardware twin; its class must name "
            "one, such as twin = 'file.py:Class'",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_told(
    args: tuple[str, ...], text: str, bells: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A slot, a key or a model that does not fit: one message, exit code 2."""
    assert told(*args) == 2
    assert capsys.readouterr().err == f"busbox: {text}\n"


def test_a_memory_in_hardware_wants_a_wait_state() -> None:
    """Its read is synchronous: wait = 0 is refused by name."""
    slot = SLOTS["memory"] | {"wait": 0, "as": "hardware"}
    with pytest.raises(
        Exception, match=r"slot\.memory\.wait: must be at least 1 for MemoryHardware"
    ):
        Bench({"clock": "1 MHz", "slot": {"memory": slot}}).system([])


LATE = """
from amaranth.hdl import Signal
from busbox.device import Declaration
from busbox.bus.hardware import Hardware
from busbox.device import RegisterModel
from busbox.map.registers import Register, RegisterTable


class Shelf(Declaration):
    table = RegisterTable(Register("BOX", 0, "rw", "Keeps a word."))


class Keeper(Shelf, RegisterModel):
    twin = "late.py:LateKeeper"


class LateKeeper(Shelf, Hardware):
    def build(self, m, registers):
        late = Signal(32)
        m.d.sync += late.eq(registers.BOX.value)
        registers.BOX.show(late)
"""


def test_a_timing_of_ones_own_is_refused(bells: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A device that commits in e + 2 obeys the bus, but cannot be compared cycle by cycle: by name."""
    (bells / "late.py").write_text(LATE, encoding="utf-8")
    code = told("twin", ".", "bell", "--random", "20", "--set", "slot.bell.model=late.py:Keeper")
    assert code == 2
    message = capsys.readouterr().err
    assert message.startswith("busbox: LateKeeper uses its own timing: commits a write in e + 2")
    assert message.endswith(
        "Lockstep compares cycle by cycle and requires the standard timing: a write takes effect in "
        "e + 1, a read shows e (busbox check shows the details)\n"
    )


#: A twin that leaves its work to a black box.
BOXED = """
from amaranth.hdl import Instance, Signal
from busbox.bus.hardware import Hardware
from busbox.device import Declaration, RegisterModel
from busbox.map.registers import Register, RegisterTable


class Shelf(Declaration):
    table = RegisterTable(Register("BOX", 0, "rw", "Keeps a word."))


class Keeper(Shelf, RegisterModel):
    twin = "boxed.py:BoxedKeeper"


class BoxedKeeper(Shelf, Hardware):
    def build(self, m, registers):
        late = Signal(32)
        m.submodules.shelf = Instance("shelf", i_put=registers.BOX.value, o_late=late)
        registers.BOX.show(late)
"""


def test_a_twin_with_a_black_box_is_refused(
    bells: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """``twin`` refuses a black box with the sentence of ``run``, and blames no timing."""
    (bells / "boxed.py").write_text(BOXED, encoding="utf-8")
    (bells / "quiet.steps").write_text("pause 1\n", encoding="utf-8")
    model = ("--set", "slot.bell.model=boxed.py:Keeper")
    sentences = []
    for words in (
        ("twin", ".", "bell", "--random", "20", *model),
        ("run", ".", *model, "--all-hardware", "--traffic", "quiet.steps"),
    ):
        assert told(*words) == 2
        sentences.append(capsys.readouterr().err)
    text = "busbox: top.slot_bell.shelf: a black box (Instance of 'shelf') is not run\n"
    assert sentences == [text, text]
