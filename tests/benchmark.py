"""How fast the engines are: ``make bench`` prints ratios within one run.

Each figure comes from a process of its own; of several runs in it the quickest counts. The judge is
run for some thousand cycles, since it takes minutes for the whole: its cycles a second are compared
with those of the other engines on the whole. It is shown as it is used, and at its best, recording
nothing of hardware devices. Nothing here passes or fails.
"""

from __future__ import annotations

import cProfile
import json
import pstats
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from busbox import load_bench
from busbox.bench.bench import Bench
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import AccessStep, Named, Pause, Step
from busbox.engines import EngineFactory, engine_class, for_many_runs
from busbox.formats.files import read_traffic
from busbox.run.loop import Replay
from busbox.system.system import System
from tests import benchmark_lines

CABIN = ("levers", "telegraph", "lamps", "clock")
#: Cycles that the judge runs of a long bench.
CYCLES = {"hardware": 15_000, "models": 60_000}
KINDS: dict[str, dict[str, Any]] = {
    "gpio": {}, "uart": {}, "timer": {}, "pulse_led": {"lamps": 12},
}  # fmt: skip
FOREVER = 1 << 62


def in_hardware(bench: Bench) -> Bench:
    """Return the bench with a twin in every slot."""
    return bench.with_values(f"slot.{slot}.as=hardware" for slot in bench.keys["slot"])


def cabin(hardware: bool) -> System:
    """Return the cabin, played by real firmware."""
    bench = load_bench("signal_cabin")
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


def crowded(slots: int, accesses: int = 40_000) -> System:
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


class Empty:
    """Where a model's cost is measured: a bench with one register and 100,000 accesses."""

    def __init__(self, native: bool) -> None:
        from busbox.bus.hardware import Hardware, Registers
        from busbox.device import Declaration
        from busbox.map.registers import Register, RegisterTable

        table = RegisterTable(Register("WORD", 0))

        class Native(Hardware):
            pass

        class Model(Declaration):
            input = wake = reset = advance = close = next_edge = staticmethod(_nothing)

            def __init__(self, host: Any, **settings: Any) -> None:
                pass

            def access(self, access: Any) -> int:
                return 0

            def rest_at(self, cycle: int) -> int:
                return cycle

            def registers(self) -> dict[str, int]:
                return {}

        def build(self: Any, m: Any, registers: Registers) -> None:
            pass

        Native.table = Model.table = table
        Native.build = build  # type: ignore[method-assign]
        slot = {"model": Native if native else Model, "base": 0, "size": 16}
        self.steps: list[Step] = [AccessStep(bool(n % 2), 0, n if n % 2 else None, wait=10)
                                  for n in range(100_000)]  # fmt: skip
        self.system = Bench({"clock": "16 MHz", "slot": {"bell": slot}}).system(self.steps)


def _nothing(*_: Any) -> None:
    return None


CASES: dict[str, Callable[[], System]] = {
    "a: the cabin on hardware devices": lambda: cabin(True),
    "b: the cabin with models": lambda: cabin(False),
    "c: first_light with pauses, models": lambda: paused(1, False),
    "c: ten times the pause": lambda: paused(10, False),
    "c: first_light with pauses, a hardware timer": lambda: paused(1, True),
    "c: ten times the pause, a hardware timer": lambda: paused(10, True),
    "d: 32 slots of hardware": lambda: crowded(32),
    "empty model": lambda: Empty(False).system,
    "native slot": lambda: Empty(True).system,
    **{f"{slots} slots": lambda slots=slots: crowded(slots) for slots in (4, 8, 16)},
    **{f"{count} accesses": lambda count=count: taps(count) for count in (10**4, 10**5, 10**6)},
}


def best_reference() -> EngineFactory:
    """Return the judge at its best: it records nothing of hardware devices in between."""
    from busbox.engines.reference import ReferenceEngine

    class Bare(ReferenceEngine):
        def __init__(self, *given: Any, **options: Any) -> None:
            super().__init__(*given, **options)
            self._simulated.observes = False

    return Bare


def measure(case: str, engine: str, until: int | None, times: int) -> dict[str, float]:
    """Run a case; return what it took. Elaboration and compilation are told apart from running."""
    system = CASES[case]()
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


def apart(case: str, engine: str, until: int | None = None, times: int = 5) -> dict[str, float]:
    """Measure in a process of its own."""
    words = [sys.executable, "-m", "tests.benchmark", json.dumps([case, engine, until, times])]
    done = subprocess.run(words, check=True, capture_output=True, encoding="utf-8")
    found: dict[str, float] = json.loads(done.stdout)
    return found


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


def compare(case: str, until: int | None, best: bool = False) -> None:
    """Print a case on every engine; the ratio is to the last judge above."""
    print(f"\n{case}")
    judge = apart(case, "reference", until, 1)
    line("reference", judge)
    if best:
        judge = apart(case, "best", until, 1)
        line("reference at its best", judge)
    for engine in ("python", "llvm"):
        line(engine, apart(case, engine), judge)


def profile() -> None:
    """Print where the time of (b) goes."""
    replay = Replay(cabin(False), engine_class("llvm"))
    watch = cProfile.Profile()
    watch.enable()
    replay.play(FOREVER)
    watch.disable()
    stats: Any = pstats.Stats(watch)
    whole = stats.total_tt
    print("\nWhere the time of (b) goes, engine llvm (with the profiler's own cost)")
    cycles = sorted(stats.stats.items(), key=lambda entry: -entry[1][2])[:10]
    for (file, _, name), (_, calls, own, _, _) in cycles:
        print(f"  {100 * own / whole:5.1f} %  {calls:>8,} calls  {Path(file).name}:{name}")


def main() -> None:
    """Print everything."""
    print(f"  {'':22}{'cycles':>11}{'accesses':>10}{'build s':>8}{'run s':>9}{'cycles/s':>13}"
          f"{'accesses/s':>12}{'MB':>7}{'ratio':>9}")  # fmt: skip
    compare("a: the cabin on hardware devices", CYCLES["hardware"], best=True)
    compare("b: the cabin with models", CYCLES["models"])
    for case in CASES:
        if case.startswith("c: "):
            compare(case, None if "timer" not in case and "ten" not in case else 60_000)
    compare("d: 32 slots of hardware", 2_000, best=True)
    print("\nGrowth with slots of hardware, engine llvm")
    for slots in ("4 slots", "8 slots", "16 slots", "d: 32 slots of hardware"):
        line(slots, apart(slots, "llvm"))
    print("\nGrowth with accesses, steps in Python, engine llvm")
    growth = [apart(f"{count} accesses", "llvm", None, 1) for count in (10**4, 10**5, 10**6)]
    for one in growth:
        line("", one)
    print(f"  a million accesses take {growth[2]['peak'] - growth[0]['peak']:.0f} MB more at the peak "
          "than ten thousand")  # fmt: skip
    empty, native = apart("empty model", "llvm", None, 7), apart("native slot", "llvm", None, 7)
    cost = (empty["took"] - native["took"]) / empty["accesses"] * 1e6
    print(f"\nA model's access costs {cost:.2f} us more than a native slot's, engine llvm")
    with tempfile.TemporaryDirectory() as folder:
        words = [sys.executable, "-c", "from busbox.cli import main; main()", "run", "signal_cabin",
                 "--out", folder]  # fmt: skip
        took = []
        for _ in range(3):
            began = time.perf_counter()
            subprocess.run(words[:-2], check=True, capture_output=True)
            took.append(time.perf_counter() - began)
        print(f"busbox run signal_cabin, from shell to summary: {min(took):.2f} s")
    benchmark_lines.main()
    profile()


if __name__ == "__main__":
    if len(sys.argv) > 1:
        print(json.dumps(measure(*json.loads(sys.argv[1]))))
    else:
        main()
