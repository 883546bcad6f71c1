"""Devices that are busy after the last step: how long they are waited for, and what is told."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import Module, Signal

from busbox import Bench, Recording
from busbox.bus.hardware import Hardware, Registers
from busbox.device import CycleModel, Declaration, Pin
from busbox.engines import engine_class
from busbox.explain.difference import first_difference
from busbox.formats.text import read_text
from busbox.map.registers import Register, RegisterTable
from busbox.run.loop import replay

LAST = 2  # the write ends in cycle 2: s = 1, one wait state


class Dimmer(Declaration):
    """A pulse-width modulator of 16 steps; DUTY 0 stops it, STOP_AT stops it in that cycle."""

    table = RegisterTable(
        Register("DUTY", 0x00, "rw", "Cycles of 16 that the pin is high.", width=4),
        Register("STOP_AT", 0x04, "rw", "The cycle in which it stops; 0: never."),
    )
    pins = (Pin("lamp"), Pin("stop", "input"))


class DimmerModel(Dimmer, CycleModel):
    stopped = False
    beat = False

    def tick(self, cycle: int) -> None:
        self.drive("lamp", int(cycle % 16 < self.stored["DUTY"]))
        if cycle + 1 == self.stored["STOP_AT"]:
            self.stopped = True

    def input(self, cycle: int, pin: str, level: int) -> None:
        self.advance(cycle)
        self.stopped = bool(level)

    def busy(self) -> bool:
        return self.stored["DUTY"] != 0 and not self.stopped


class DimmerHardware(Dimmer, Hardware):
    def build(self, m: Module, registers: Registers) -> None:
        phase = Signal(4)
        m.d.sync += [phase.eq(phase + 1), self.pin_lamp.eq(phase < registers.DUTY.value)]
        m.d.comb += self.at_rest.eq(registers.DUTY.value == 0)


def bench(model: type = DimmerModel, steps: str = "write dimmer.DUTY 5", **keys: Any) -> Bench:
    """Return a bench with a dimmer that is on after its last step."""
    slot = {"dimmer": {"model": model, "base": 0, "size": 8}}
    lines = steps.split("; ")
    return Bench({"clock": "16 MHz", "slot": slot, "traffic": list(read_text(lines, "s"))} | keys)


def test_a_device_that_never_stops_is_waited_for_a_million_cycles() -> None:
    """Without ``settle`` the wait is 1,000,000 cycles at most: the device is named, and what to set."""
    recording = bench().run("python")
    assert (recording.ended, recording.cycles) == ("settle", LAST + 1_000_000 + 1)
    assert recording.notes == (
        "dimmer was still busy 62.5 ms (1,000,000 cycles) after the last step, so the run was "
        "stopped. A device that never stops is best ended by --until; one that needs longer by "
        "settle in the bench, such as settle = '2 s'.",
    )


@pytest.mark.parametrize(
    ("clock", "settle", "cycles"),
    [("20 kHz", None, 20_000), ("16 MHz", 700, 700), ("1 GHz", "2 ms", 2_000_000)],
)
def test_a_slow_clock_waits_a_second_and_settle_is_obeyed(
    clock: str, settle: Any, cycles: int
) -> None:
    """The default is 1 s where that is less; what the bench says counts, be it more or less."""
    keys = {"clock": clock} if settle is None else {"clock": clock, "settle": settle}
    recording = bench(**keys).run("python")
    assert (recording.ended, recording.cycles) == ("settle", LAST + cycles + 1)


@pytest.mark.parametrize("engine", ["python", "llvm"])
def test_hardware_that_never_stops_is_named_too(engine: str) -> None:
    """A twin in Amaranth is waited for as long as the model."""
    recording = bench(DimmerHardware).run(engine)
    assert (recording.ended, recording.cycles) == ("settle", LAST + 1_000_000 + 1)
    assert recording.notes[0].startswith("dimmer was still busy 62.5 ms (1,000,000 cycles) after")


def stepwise(made: Bench, engine: str, until: int | None) -> Recording:
    """Return the recording of a run that looks at every cycle."""
    return replay(made.system(), engine_class(engine), until, observe=lambda cycle, models: None)


@pytest.mark.parametrize("engine", ["reference", "python", "llvm"])
@pytest.mark.parametrize(
    ("steps", "keys", "until"),
    [
        ("write dimmer.STOP_AT 9000; write dimmer.DUTY 5", {}, None),
        ("write dimmer.DUTY 5", {"input": [{"at": 100, "pin": "dimmer.stop", "level": 1}]}, None),
        ("write dimmer.DUTY 5", {"reset": [{"at": 57, "length": 3}], "after_reset": "continue"}, None),
        ("write dimmer.DUTY 5", {"settle": 333}, None),
        ("write dimmer.DUTY 5", {}, 77),
    ],
)  # fmt: skip
def test_models_asked_ahead_give_the_same_run(
    steps: str, keys: dict[str, Any], until: int | None, engine: str
) -> None:
    """Where nothing reaches a model it is asked for many cycles at once, and nothing else changes."""
    made = bench(steps=steps, **keys)
    plain = replay(made.system(), engine_class(engine), until)
    difference = first_difference(plain, stepwise(made, engine, until))
    assert difference is None, difference
    ahead = replay(made.system(), engine_class(engine), until, progress=lambda cycle, share: None)
    assert first_difference(plain, ahead) is None


def test_the_summary_names_the_device(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A run that was stopped says so first, and names the device in the note that follows."""
    from busbox.exports.contract import Result, target_of
    from busbox.exports.summary import write

    recording = bench(settle=700).run("python")
    with target_of(str(tmp_path / "summary.txt")) as target:
        write(Result(recording, lambda: None, {}), target)  # type: ignore[arg-type, return-value]
    text = (tmp_path / "summary.txt").read_text(encoding="utf-8")
    assert text.startswith("bench: stopped: a device was still busy after 43.94 us")
    verdict, note = " ".join(text.split()).split(" note: ")[:2]
    assert "engine python" in verdict
    assert note.startswith("dimmer was still busy 43.75 us (700 cycles) after the last step")
