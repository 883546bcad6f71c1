"""What is asked for many edges at once is what each edge gives alone, and what plain code gives."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from busbox import Bench, Recording
from busbox.device import Reason
from busbox.explain.past import RecordedPast
from busbox.explain.why import Stories
from busbox.system.system import System

pytestmark = pytest.mark.quick

BENCHES = (
    "first_light",
    "mistakes/lamp_flash",
    "mistakes/lamp_gap",
    "word_lamps",
    "resets",
    "short",
)
#: Frames cut off by resets, a second count and other pulses; more lamps asked for than there are.
STEPS = """
write lamps.HIGH 0x00040002
write lamps.PERIOD 0x000a0006
write lamps.COUNT 3
write lamps.COLOUR.1 0x00ff81
write lamps.CONTROL 1
pause 200
write lamps.PERIOD 0x000a0008
write lamps.COUNT 9
write lamps.COLOUR.0 0x123456
write lamps.CONTROL 1
pause 90
write lamps.COLOUR.2 0xabcdef
pause 900
"""


def _bench(name: str, folder: Path) -> Bench:
    if name not in ("resets", "short"):
        return Bench.load(name)
    (folder / "two.steps").write_text(STEPS, encoding="utf-8")
    keys: dict[str, Any] = {
        "clock": "1 MHz",
        "slot": {"lamps": {"model": "pulse_led", "base": 0x1000, "size": 0x1000, "lamps": 4}},
        "attach": {"string": {"kind": "lamp_string", "pin": "lamps.line", "count": 4}},
        "traffic": {"file": "two.steps"},
    }
    if name == "resets":
        keys["reset"] = [{"at": 150, "length": 5}, {"at": 400, "length": 2}]
        keys["after_reset"] = "continue"
    return Bench(keys, folder=folder)


def _plain(device: Any, cycle: int, past: RecordedPast) -> Iterator[Reason]:
    """Yield the reasons of one edge: the frame it is in, then the lamp and the bit."""
    event = past.event(("frame",), cycle)
    if event is None:
        return
    first, order = event[0], device.model.order_for(device.settings)
    period = max(1, past.word("PERIOD", first - 1) & 0xFFFF)
    lamp, bit = divmod((cycle - first) // period, 8 * len(order))
    if lamp < min(past.word("COUNT", first - 1), device.settings["lamps"]):
        begin = first + lamp * 8 * len(order) * period
        name = {"R": "red", "G": "green", "B": "blue", "W": "white"}[order[bit // 8]]
        what = f"colour of lamp {lamp}; bit {bit} on the wire is {name}'s bit {7 - bit % 8}"
        yield Reason(what, f"COLOUR.{lamp}", past.write(f"COLOUR.{lamp}", begin - 1))
    for register, what in (("HIGH", "high times"), ("PERIOD", "bit time and gap")):
        yield Reason(what, register, past.write(register, first - 1))


def _expected(device: Any, cycle: int, past: RecordedPast) -> Iterator[Reason]:
    """Yield the reasons by plain code; a device of the user's own is asked edge by edge."""
    if hasattr(device.model, "order_for"):
        yield from _plain(device, cycle, past)
    else:
        yield from device.model.because(device.settings, "line", cycle, -1, past)


@pytest.fixture(scope="module", params=BENCHES)
def made(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[System, Recording]:
    """Return a system with lamps, and its run."""
    bench = _bench(request.param, tmp_path_factory.mktemp("bench"))
    system = bench.system()
    return system, bench.run("python", system=system)


def test_reasons_of_many_edges_are_those_of_each(made: tuple[System, Recording]) -> None:
    """Texts, registers and accesses, in order; also for every other cycle, edge or not."""
    system, run = made
    stories = Stories(system, run)
    (number,) = (n for n, one in enumerate(system.devices) if one.name == "lamps")
    past = RecordedPast(system, run, number)
    edges = run.lines["lamps.line"].cycles
    cycles = np.unique(np.concatenate([edges, np.arange(0, run.cycles, max(2, run.cycles // 500))]))
    found = stories.all_reasons("lamps.line", cycles, np.full(len(cycles), -1))
    columns = [[*zip(one.what, one.register, one.accesses.tolist(), strict=True)] for one in found]
    for place, cycle in enumerate(cycles.tolist()):
        expected = [*_expected(system.devices[number], cycle, past)]
        assert [Reason(*one[place]) for one in columns if one[place][0]] == expected
        assert [*stories.reasons("lamps.line", cycle, -1)] == expected


def test_what_a_decoder_sees_is_what_it_sees_in_each_tick(made: tuple[System, Recording]) -> None:
    """The bit that a tick is part of, from the first to the last cycle of the run."""
    system, run = made
    stories = Stories(system, run)
    for pin in run.lines:
        for _, decoder in stories.decoders(pin):
            wave = stories.wave(pin)
            ticks = np.arange(0, run.cycles, max(1, run.cycles // 700))
            expected = [decoder.describe(wave, tick) for tick in ticks.tolist()]
            assert [*decoder.describe_all(wave, ticks)] == expected
