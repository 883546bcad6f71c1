"""A bench that is exported as a whole, fabric and devices, does what the bench does.

What ``busbox export --all`` writes is read in again, and stands alone in another bench, in a slot as
large as the address map. Both benches play the same accesses. Behind another kind of port an access
begins and ends later inside of the whole (page ``export``, "What the port costs"): the bench has as
many wait states more, and as much more time between accesses.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from busbox import Bench, Recording
from busbox.bus.transfers import TERMINATORS
from busbox.cli import main
from busbox.cpu.steps import AccessStep, ResetStep, Step
from busbox.engines import engine_class
from busbox.run.loop import replay
from tests.verilog.netlists import needs_front_end

pytestmark = needs_front_end
COUNT, ACK = 160, TERMINATORS.index("ack")
INPUTS = ("levers.in.0", "levers.in.1", "levers.in.2", "telegraph.rx")


@dataclass(frozen=True)
class Cost:
    """What a port costs: cycles before the access inside begins, and from its end to that outside.

    One of those before is the wait state that the slot of the whole must have.
    """

    before: int
    after: int = 0


#: For each kind of port.
COSTS = {
    "wishbone": Cost(0),
    "apb": Cost(2),
    "axi4-lite": Cost(2, 1),
    "strobes": Cost(1),
}
#: A window each; images, and a slot that yields to another.
PLACES: dict[str, dict[str, dict[str, Any]]] = {
    "full": {
        "levers": {"base": 0x4000_0000, "size": 0x100},
        "telegraph": {"base": 0x4000_0100, "size": 0x10, "wait": 2},
        "clock": {"base": 0xFFFF_FF00, "size": 0x20},
    },
    "partial": {
        "levers": {"base": 0x4400_0000, "size": 0x100, "compare": "31..24"},
        "telegraph": {"base": 0x4000_0000, "size": 0x10, "compare": "31..27", "yields_to": ["levers"]},
        "clock": {"base": 0x1234_5674, "size": 0x1C, "decode": "range", "wait": 3},
    },
}  # fmt: skip
DEVICES: dict[str, dict[str, Any]] = {
    "levers": {"model": "gpio", "width": 3},
    "telegraph": {"model": "uart", "divisor": 3},
    "clock": {"model": "timer"},
}
FABRICS: dict[str, dict[str, Any]] = {
    "full": {},
    "partial": {"registered_decode": True, "unanswered": "silence", "watchdog": 40},
}
#: Clock and reset are called alike for every kind of port: so the devices are the same modules.
CLOCKING = ("--clock", "clk", "--reset", "rst", "--reset-high")


def inputs(seed: int, until: int) -> list[dict[str, Any]]:
    """Return levels of the input pins, at random cycles."""
    dice = random.Random(seed)
    cycles = sorted(dice.sample(range(1, until), until // 12))
    return [
        {"at": cycle, "pin": dice.choice(INPUTS), "level": dice.getrandbits(1)} for cycle in cycles
    ]


def drawn(places: dict[str, dict[str, Any]], seed: int) -> Iterator[Step]:
    """Yield accesses to devices, to images and to nothing, and resets between them."""
    dice = random.Random(seed)
    for number in range(COUNT):
        if number % 50 == 30:
            yield ResetStep(0)
        place = dice.choice(list(places.values()))
        address = place["base"] + 4 * dice.randrange(place["size"] // 4)
        if dice.random() < 0.7:  # most registers are in the first words
            address = place["base"] + 4 * dice.randrange(min(12, place["size"] // 4))
        if "compare" in place and dice.random() < 0.5:
            address ^= 1 << dice.randrange(place["size"].bit_length() - 1, 24)
        if dice.random() < 0.1:
            address = 4 * dice.getrandbits(30)
        write = dice.random() < 0.6
        lanes = dice.choice((15, 15, dice.randrange(16))) if write else 15
        data = dice.choice((dice.getrandbits(32), dice.getrandbits(3))) if write else None
        yield AccessStep(write, address, data, lanes, dice.choice((0, 0, 1, 5, 30)))


def original(name: str, more: int, steps: list[Step]) -> Bench:
    """Return the bench, with as many wait states more in each slot."""
    places = PLACES[name]
    slots = {
        key: {**DEVICES[key], **place, "wait": place.get("wait", 1) + more}
        for key, place in places.items()
    }
    return Bench({
        "clock": "1 MHz", "fabric": FABRICS[name], "slot": slots, "input": levels("{}.{}"),
        "hang_after": 500, "traffic": steps,
    })  # fmt: skip


def whole(name: str, kind: str, folder: Path, steps: list[Step]) -> Bench:
    """Return the bench in which the exported whole stands alone."""
    lines = ['clock = "1 MHz"']
    for title, keys in (("fabric", FABRICS[name]), *slots_of(name)):
        lines += [f"[{title}]", *(f"{key} = {shown(value)}" for key, value in keys.items())]
    (folder / "cabin.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    out = folder / "out"
    with pytest.raises(SystemExit) as ended:
        main(["export", str(folder / "cabin.toml"), str(out), "--all", "--bus", kind, *CLOCKING])
    assert not ended.value.code
    files = sorted(file.name for file in out.iterdir() if file.name != "cabin.v")
    assert len(files) == len(DEVICES) + 1
    slot = {
        "model": "cabin.v:cabin", "base": 0, "size": 1 << 32, "wait": int(kind != "wishbone"),
        "verilog": {"files": files}, "ports": {"bus": kind, "high": ["telegraph_rx"]},
    }  # fmt: skip
    keys = {"clock": "1 MHz", "slot": {"whole": slot}, "hang_after": 500, "traffic": steps}
    return Bench({**keys, "input": levels("whole.{}_{}")}, folder=out)


def slots_of(name: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the tables of the slots."""
    for key, place in PLACES[name].items():
        yield f"slot.{key}", {**DEVICES[key], **place}


def shown(value: Any) -> str:
    """Return a value in TOML."""
    return str(value).lower() if isinstance(value, bool) else repr(value)


def levels(form: str) -> list[dict[str, Any]]:
    """Return the levels of the inputs, with the pins called by a form of slot and pin."""
    return [{**one, "pin": form.format(*str(one["pin"]).split(".", 1))} for one in inputs(5, 1500)]


def spread(steps: list[Step], nowhere: list[bool], cost: Cost) -> list[Step]:
    """Return the steps with more time between them: as much as the port of the whole takes."""
    found: list[Step] = []
    owed, left = 0, iter(nowhere)
    for step in steps:
        found.append(replace(step, wait=step.wait + owed))
        owed = 0
        if isinstance(step, AccessStep):
            owed = cost.after + (cost.before if next(left) else 0)
    return found


def same(bench: Recording, whole: Recording, nowhere: list[bool], cost: Cost) -> None:
    """Assert that accesses and pins are the same, but for the cycles that the port costs."""
    one, other = bench.accesses, whole.accesses
    assert len(one.end) == len(other.end) == COUNT
    ends = set()
    for place in range(COUNT):
        later = cost.after + (cost.before if nowhere[place] else 0)
        error = int(one.terminator[place]) != ACK
        ends.add((bool(one.write[place]), error))
        assert (one.start[place], one.end[place] + later) == (other.start[place], other.end[place])
        assert (int(other.terminator[place]) != ACK) == error, place
        assert error or one.data[place] == other.data[place], hex(one.address[place])
    assert len(ends) == 4
    until = min(bench.cycles, whole.cycles)
    outputs = [pin for pin in bench.lines if pin not in INPUTS]
    assert len(outputs) + len(INPUTS) == len(whole.lines)
    busy = 0
    for pin in outputs:
        slot, name = pin.split(".", 1)
        edges = [
            [
                (cycle, level)
                for cycle, level in zip(*run.edges(called), strict=True)
                if cycle < until
            ]
            for run, called in ((bench, pin), (whole, f"whole.{slot}_{name}"))
        ]
        assert edges[0] == edges[1], pin
        busy += len(edges[0]) > 2
    assert busy > 4


def chosen() -> Iterator[Any]:
    """Yield each bench with each kind of port; one half of them are long."""
    for number, (name, kind) in enumerate(product(PLACES, COSTS)):
        long = number not in (1, 2, 4, 7)
        yield pytest.param(name, kind, marks=[pytest.mark.long] if long else [])


@pytest.mark.parametrize(("name", "kind"), list(chosen()))
def test_the_whole_does_what_its_bench_does(name: str, kind: str, tmp_path: Path) -> None:
    """The same answers and the same pins, cycle by cycle, with resets and accesses to nothing."""
    cost, steps = COSTS[kind], list(drawn(PLACES[name], 8))
    factory = engine_class("python")
    first = replay(original(name, 0, steps).system(), factory)
    nowhere = [bool(slot < 0) for slot in first.accesses.slot]
    assert 5 < sum(nowhere) < COUNT / 2
    bench = original(name, cost.before, spread(steps, nowhere, cost)).system()
    exported = whole(name, kind, tmp_path, steps).system()
    same(replay(bench, factory), replay(exported, factory), nowhere, cost)
