"""How fast the engines are: ``make bench`` prints ratios within one run.

Each figure comes from a process of its own; of several runs in it the quickest counts. The judge is
run for some thousand cycles, since it takes minutes for the whole: its cycles a second are compared
with those of the other engines on the whole. It is shown as it is used, and at its best, recording
nothing of hardware devices. Nothing here passes or fails.

The tests run all of it with sizes of :data:`SHORT`, in one process, and look at no time.
"""

from __future__ import annotations

import cProfile
import json
import pstats
import random
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from amaranth.hdl import Module

from busbox import load_bench
from busbox.bench.bench import Bench
from busbox.bus.hardware import Hardware, Registers
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import AccessStep, Named, Pause, Step
from busbox.device import BusAccess, Declaration
from busbox.engines import EngineFactory, engine_class, for_many_runs
from busbox.formats.files import read_traffic
from busbox.map.registers import Register, RegisterTable
from busbox.run.loop import Replay
from busbox.system.system import System
from tests import (
    benchmark_core,
    benchmark_growth,
    benchmark_lines,
    benchmark_plain,
    benchmark_variants,
)


@dataclass(frozen=True)
class Sizes:
    """How much is run.

    Attributes
    ----------
    bench : played on hardware devices, with models, and from the shell
    hardware, models, timer, crowd : cycles that the judge runs of a long bench
    until : cycles that any engine runs of any case; None: all
    times : the greatest number of runs of which the quickest counts
    slots : numbers of hardware devices on a bus, the last one on every engine
    accesses : of the crowded bus, and of the empty model
    growth : numbers of accesses made while a bench runs
    edges : of a line that is decoded
    rounds : of the loop that a core executes
    inputs : numbers, rows and edges of which the growth is measured
    variants : benches, and how many variants of each are swept
    plain : engines that are compared with a plain test bench, and cycles that each runs
    plain_accesses : that the plain test bench makes
    """

    bench: str = "signal_cabin"
    hardware: int = 15_000
    models: int = 60_000
    timer: int = 60_000
    crowd: int = 2_000
    until: int | None = None
    times: int = 7
    slots: tuple[int, ...] = (4, 8, 16, 32)
    accesses: tuple[int, int] = (40_000, 100_000)
    growth: tuple[int, int, int] = (10**4, 10**5, 10**6)
    edges: int = benchmark_lines.EDGES
    rounds: int = benchmark_core.ROUNDS
    inputs: int = benchmark_growth.SIZE
    variants: tuple[tuple[str, int], ...] = benchmark_variants.CASES
    plain: tuple[tuple[str, int | None], ...] = benchmark_plain.ENGINES
    plain_accesses: int = benchmark_plain.ACCESSES


FULL = Sizes()
SHORT = Sizes(
    bench="first_light", hardware=200, models=200, timer=200, crowd=200, until=240, times=1,
    slots=(4,), accesses=(40, 100), growth=(10, 20, 30), edges=2 * 2 * 24 * benchmark_lines.LAMPS,
    rounds=10, inputs=100, variants=(("first_light", 2),),
    plain=(("python", 200),), plain_accesses=5,
)  # fmt: skip
KINDS: dict[str, dict[str, Any]] = {
    "gpio": {}, "uart": {}, "timer": {}, "pulse_led": {"lamps": 12},
}  # fmt: skip
FOREVER = 1 << 62


def in_hardware(bench: Bench) -> Bench:
    """Return the bench with a twin in every slot."""
    return bench.with_values(f"slot.{slot}.as=hardware" for slot in bench.keys["slot"])


def cabin(name: str, hardware: bool) -> System:
    """Return a bench that comes with Busbox: the cabin is played by real firmware."""
    bench = load_bench(name)
    return (in_hardware(bench) if hardware else bench).system()


def paused(times: int, timer: bool) -> System:
    """Return first_light with a pause of 20 ms after every mark, so many times as long."""
    bench = load_bench("first_light")
    if timer:
        slot = {"model": "timer", "base": 0x5000_0000, "size": 64, "as": "hardware"}
        keys = {**bench.keys, "slot": {**bench.keys["slot"], "clock": slot}}
        bench = Bench(keys, folder=bench.folder)
    steps: list[Step] = []
    for step in read_traffic(Path(bench.folder) / bench.keys["traffic"]["file"]):
        steps.append(step)
        if isinstance(step, AccessStep) and not step.write:
            steps.append(Pause(replace(Pause(_span()).span, cycles=2_000 * times)))
    return bench.system(steps)


def _span() -> Any:
    from busbox.basics.units import Span

    return Span(cycles=1)


def crowded(slots: int, accesses: int) -> System:
    """Return many hardware devices, and accesses to all of them."""
    names = [f"{kind}_{number}" for number in range(slots // 4) for kind in KINDS]
    keys = {
        name: {"model": name.rpartition("_")[0], "base": place << 12, "size": 0x1000,
               "as": "hardware", **KINDS[name.rpartition("_")[0]]}
        for place, name in enumerate(names)
    }  # fmt: skip
    draw = random.Random(1)
    steps: list[Step] = [
        AccessStep(draw.random() < 0.3, (draw.randrange(slots) << 12) + 4 * draw.randrange(4),
               draw.getrandbits(8), wait=draw.randrange(8))
        for _ in range(accesses)
    ]  # fmt: skip
    steps = [replace(one, data=one.data if one.write else None) for one in steps
             if isinstance(one, AccessStep)]  # fmt: skip
    return Bench({"clock": "16 MHz", "settle": 1, "slot": keys}).system(steps)


def taps(count: int) -> System:
    """Return first_light with as many accesses, an edge at every other one, made as they are needed."""

    def steps() -> Iterator[Step]:
        for _ in range(count // 2):
            yield AccessStep(True, Named("levers", "TOGGLE"), 1, wait=4)
            yield AccessStep(False, Named("levers", "OUT"), wait=4)

    return load_bench("first_light").system(ListedSource(steps))


WORD = RegisterTable(Register("WORD", 0))


class EmptyModel(Declaration):
    """A model that does as little as a model can."""

    table = WORD

    def __init__(self, host: Any, **settings: Any) -> None:
        pass

    def access(self, access: BusAccess) -> int:
        return 0

    def input(self, cycle: int, pin: str, level: int) -> None:
        pass

    def wake(self, cycle: int) -> None:
        pass

    def reset(self, cycle: int, length: int) -> None:
        pass

    def advance(self, cycle: int) -> None:
        pass

    def close(self, cycle: int) -> None:
        pass

    def next_edge(self, cycle: int) -> int | None:
        return None

    def rest_at(self, cycle: int) -> int:
        return cycle

    def registers(self) -> dict[str, int]:
        return {}


class EmptyHardware(Hardware):
    """The same register in hardware."""

    table = WORD

    def build(self, m: Module, registers: Registers) -> None:
        """Add nothing."""


def empty(model: type, accesses: int) -> System:
    """Return a bench with one register, where a model's own cost is measured."""
    slot = {"model": model, "base": 0, "size": 16}
    steps: list[Step] = [AccessStep(bool(n % 2), 0, n if n % 2 else None, wait=10)
                         for n in range(accesses)]  # fmt: skip
    return Bench({"clock": "16 MHz", "slot": {"bell": slot}}).system(steps)


def cases(sizes: Sizes) -> dict[str, Callable[[], System]]:
    """Return what is measured, by name."""
    crowd, alone = sizes.accesses
    return {
        "a: the cabin on hardware devices": partial(cabin, sizes.bench, True),
        "b: the cabin with models": partial(cabin, sizes.bench, False),
        "c: first_light with pauses, models": partial(paused, 1, False),
        "c: ten times the pause": partial(paused, 10, False),
        "c: first_light with pauses, a hardware timer": partial(paused, 1, True),
        "c: ten times the pause, a hardware timer": partial(paused, 10, True),
        **{f"d: {slots} slots of hardware": partial(crowded, slots, crowd)
           for slots in sizes.slots},
        "empty model": partial(empty, EmptyModel, alone),
        "native slot": partial(empty, EmptyHardware, alone),
        **{f"{count} accesses": partial(taps, count) for count in sizes.growth},
    }  # fmt: skip


def best_reference() -> EngineFactory:
    """Return the judge at its best: it records nothing of hardware devices in between."""
    from busbox.engines.reference import ReferenceEngine

    class Bare(ReferenceEngine):
        def __init__(self, *given: Any, **options: Any) -> None:
            super().__init__(*given, **options)
            self._simulated.observes = False

    return Bare


def measure(
    case: str, engine: str, until: int | None, times: int, sizes: Sizes = FULL
) -> dict[str, float]:
    """Run a case; return what it took. Elaboration and compilation are timed apart from running."""
    system = cases(sizes)[case]()
    factory = for_many_runs(best_reference() if engine == "best" else engine_class(engine))
    began = time.perf_counter()
    Replay(system, factory)
    built = time.perf_counter() - began
    took, cycle, accesses = [], 0, 0
    for _ in range(times):
        replay = Replay(system, factory)
        began = time.perf_counter()
        cycle, _ = replay.play(FOREVER if until is None else until)
        took.append(time.perf_counter() - began)
        replay.taking.put_away(cycle)
        accesses = len(replay.taking.columns["end"])
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "built": built,
        "took": min(took),
        "cycles": cycle + 1,
        "accesses": accesses,
        "peak": peak,
    }


def apart(case: str, engine: str, until: int | None, times: int) -> dict[str, float]:
    """Measure in a process of its own."""
    words = [sys.executable, "-m", "tests.benchmark", json.dumps([case, engine, until, times])]
    done = subprocess.run(words, check=True, capture_output=True, encoding="utf-8")
    figures: dict[str, float] = json.loads(done.stdout)
    return figures


def line(engine: str, one: dict[str, float], judge: dict[str, float] | None = None) -> None:
    """Print a row of the table."""
    speed = one["cycles"] / one["took"]
    ratio = f"{speed * judge['took'] / judge['cycles']:9,.1f}" if judge else " " * 9
    print(
        f"  {engine:22}{one['cycles']:>11,.0f}{one['accesses']:>10,.0f}{one['built']:>8.2f}"
        f"{one['took']:>9.3f}{speed:>13,.0f}{one['accesses'] / one['took']:>12,.0f}"
        f"{one['peak']:>7.0f}{ratio}",
        flush=True,
    )


class Table:
    """Prints everything.

    Parameters
    ----------
    measured : what measures a case: in a process of its own, or in this one
    """

    def __init__(self, sizes: Sizes, measured: Callable[..., dict[str, float]]) -> None:
        self._sizes, self._measured = sizes, measured

    def _measure(
        self, case: str, engine: str, until: int | None = None, times: int = 5
    ) -> dict[str, float]:
        until = self._sizes.until if until is None else until
        return self._measured(case, engine, until, min(times, self._sizes.times))

    def compare(self, case: str, until: int | None, best: bool = False) -> None:
        """Print a case on every engine; the ratio is to the last judge above."""
        print(f"\n{case}")
        judge = self._measure(case, "reference", until, 1)
        line("reference", judge)
        if best:
            judge = self._measure(case, "best", until, 1)
            line("reference at its best", judge)
        for engine in ("python", "llvm"):
            line(engine, self._measure(case, engine), judge)

    def engines(self) -> None:
        """Print every case on every engine."""
        sizes = self._sizes
        print(f"  {'':22}{'cycles':>11}{'accesses':>10}{'build s':>8}{'run s':>9}{'cycles/s':>13}"
              f"{'accesses/s':>12}{'MB':>7}{'ratio':>9}")  # fmt: skip
        self.compare("a: the cabin on hardware devices", sizes.hardware, best=True)
        self.compare("b: the cabin with models", sizes.models)
        for case in cases(sizes):
            if case.startswith("c: "):
                long = "timer" in case or "ten" in case
                self.compare(case, sizes.timer if long else None)
        self.compare(f"d: {sizes.slots[-1]} slots of hardware", sizes.crowd, best=True)

    def growth(self) -> None:
        """Print what more slots and more accesses cost."""
        print("\nGrowth with slots of hardware, engine llvm")
        for slots in self._sizes.slots:
            line(f"{slots} slots", self._measure(f"d: {slots} slots of hardware", "llvm"))
        print("\nGrowth with accesses, steps in Python, engine llvm")
        growth = [self._measure(f"{count} accesses", "llvm", None, 1)
                  for count in self._sizes.growth]  # fmt: skip
        for one in growth:
            line("", one)
        least, _, most = self._sizes.growth
        print(f"  {most:,} accesses take {growth[2]['peak'] - growth[0]['peak']:.0f} MB more at the "
              f"peak than {least:,}")  # fmt: skip
        empty, native = (self._measure(case, "llvm", None, 7)
                         for case in ("empty model", "native slot"))  # fmt: skip
        cost = (empty["took"] - native["took"]) / empty["accesses"] * 1e6
        print(f"\nA model's access costs {cost:.2f} us more than a native slot's, engine llvm")

    def shell(self) -> None:
        """Print how long a command takes."""
        words = [sys.executable, "-c", "from busbox.cli import main; main()", "run",
                 self._sizes.bench]  # fmt: skip
        took = []
        for _ in range(min(3, self._sizes.times)):
            began = time.perf_counter()
            subprocess.run(words, check=True, capture_output=True)
            took.append(time.perf_counter() - began)
        print(f"busbox run {self._sizes.bench}, from shell to summary: {min(took):.2f} s")

    def profile(self) -> None:
        """Print where the time of (b) goes."""
        replay = Replay(cabin(self._sizes.bench, False), engine_class("llvm"))
        watch = cProfile.Profile()
        watch.enable()
        replay.play(FOREVER)
        watch.disable()
        stats: Any = pstats.Stats(watch)
        whole = stats.total_tt
        print("\nWhere the time of (b) goes, engine llvm (with the profiler's own cost)")
        functions = sorted(stats.stats.items(), key=lambda entry: -entry[1][2])[:10]
        for (file, _, name), (_, calls, own, _, _) in functions:
            print(f"  {100 * own / whole:5.1f} %  {calls:>8,} calls  {Path(file).name}:{name}")


def main(sizes: Sizes = FULL, measured: Callable[..., dict[str, float]] = apart) -> None:
    """Print everything."""
    table = Table(sizes, measured)
    table.engines()
    table.growth()
    table.shell()
    benchmark_lines.main(sizes.edges)
    benchmark_core.main(sizes.rounds, min(3, sizes.times))
    benchmark_growth.main(sizes.inputs, min(3, sizes.times))
    benchmark_variants.main(sizes.variants)
    benchmark_plain.main(sizes.plain, sizes.plain_accesses, min(3, sizes.times))
    table.profile()


if __name__ == "__main__":
    if len(sys.argv) > 1:
        print(json.dumps(measure(*json.loads(sys.argv[1]))))
    else:
        main()
