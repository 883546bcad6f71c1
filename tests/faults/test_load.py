"""What had cost a traceback, all memory or all time because there was much of it, or it went round."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import Module, Signal
from amaranth.lib import memory, wiring
from amaranth.lib.wiring import In

from busbox.basics.errors import EngineError
from busbox.bench.bench import Bench
from busbox.bus import wishbone
from busbox.bus.hardware import Hardware, Registers
from busbox.check.port import Subject, check
from busbox.check.twin.pair import Pair
from busbox.device import RegisterModel
from busbox.engines import engine_class
from busbox.engines.reference import ReferenceEngine
from busbox.map.registers import Register, RegisterTable

pytestmark = pytest.mark.quick

STRIKE = RegisterTable(Register("STRIKE", 0))


class Bell(RegisterModel):
    """A bell that keeps what is written to it."""

    table = STRIKE


def row_of(bells: int, folder: Path) -> Bench:
    """Return a bench with so many bells, of which the first and the last are written and read."""
    last = 16 * (bells - 1)
    steps = f"write 0 5\nwrite {last:#x} 7\nread 0\nread {last:#x}\n"
    (folder / "row.steps").write_text(steps, encoding="utf-8")
    slots = {
        f"bell_{number}": {"model": Bell, "base": 16 * number, "size": 16}
        for number in range(bells)
    }
    return Bench({"clock": "1 MHz", "slot": slots, "traffic": {"file": "row.steps"}}, folder=folder)


@pytest.mark.parametrize(
    ("engine", "bells"), [("reference", 200), pytest.param("python", 500, marks=pytest.mark.long)]
)
def test_hundreds_of_slots_run(
    engine: str, bells: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The fabric is no deeper than Python's calls may be, and all of its slots answer."""
    # A checker at every port, which only tests have, needs a word that is too wide for the simulator.
    monkeypatch.setattr(ReferenceEngine, "watch_ports", False)
    accesses = row_of(bells, tmp_path).run(engine=engine).accesses
    assert accesses.data.tolist() == [5, 7, 5, 7]


@pytest.mark.long
@pytest.mark.timeout(900)
@pytest.mark.parametrize("models", [("gpio",), ("gpio", "uart", "timer", "pulse_led", "memory")])
def test_hundreds_of_slots_of_hardware_run_as_machine_code(
    models: tuple[str, ...], tmp_path: Path
) -> None:
    """The code of 200 slots of hardware, alike or mixed, is made in minutes; all of them answer."""
    pytest.importorskip("llvmlite")
    names = [models[number % len(models)] for number in range(200)]
    slots: dict[str, dict[str, Any]] = {
        f"row_{number}": {"model": name, "base": 0x1000 * number, "size": 0x1000, "as": "hardware"}
        for number, name in enumerate(names)
    }
    for slot in slots.values():
        if slot["model"] == "pulse_led":
            slot["lamps"] = 8
    last = 0x1000 * max(number for number, name in enumerate(names) if name == "gpio")
    steps = f"write 0 5\nwrite {last:#x} 7\nread 0\nread {last:#x}\n"
    (tmp_path / "row.steps").write_text(steps, encoding="utf-8")
    keys = {"clock": "1 MHz", "slot": slots, "traffic": {"file": "row.steps"}}
    accesses = Bench(keys, folder=tmp_path).run(engine="llvm").accesses
    assert accesses.data.tolist() == [5, 7, 5, 7]


def round_signals(m: Module) -> Signal:
    """Return a signal that depends on itself within the cycle."""
    one, other = Signal(name="one"), Signal(name="other")
    m.d.comb += [one.eq(~other), other.eq(one)]
    return one


def round_memory(m: Module) -> Any:
    """Return what a memory shows at the address that it shows."""
    m.submodules.words = words = memory.Memory(shape=1, depth=2, init=[1, 0])
    reader = words.read_port(domain="comb")
    m.d.comb += reader.addr.eq(reader.data)
    return reader.data


ROUNDS = {
    round_signals: "one[0], other[0]",
    round_memory: "reader__addr[0], reader__data[0]",
}
each_round = pytest.mark.parametrize("round_in", ROUNDS, ids=lambda one: one.__name__)


@each_round
def test_check_refuses_a_loop_of_signals(round_in: Any) -> None:
    """A component whose answer depends on itself is refused as it is in a run, before any cycle."""

    class Hollow(wiring.Component):
        def __init__(self) -> None:
            super().__init__({"bus": In(wishbone.Signature(4))})

        def elaborate(self, platform: object) -> Module:
            m = Module()
            m.d.comb += self.bus.ack.eq(round_in(m) & self.bus.stb)
            return m

    with pytest.raises(EngineError) as told:
        check(Subject("hollow", "Hollow", Hollow))
    assert str(told.value) == f"top: signals must not go round in a loop: {ROUNDS[round_in]}"


@each_round
def test_twin_refuses_a_loop_of_signals(round_in: Any, tmp_path: Path) -> None:
    """A twin that has one is refused as it is in a run, before both are played."""

    class Hollow(Hardware):
        table = STRIKE

        def build(self, m: Module, registers: Registers) -> None:
            m.d.comb += Signal(name="heard").eq(round_in(m))

    system = row_of(1, tmp_path).system()
    with pytest.raises(EngineError) as told:
        Pair(system, 0, Hollow, engine_class("reference"))
    assert str(told.value) == f"top: signals must not go round in a loop: {ROUNDS[round_in]}"
