"""How the engines compare with what one would write without Busbox (:mod:`tests.plain_bench`).

Each figure is the processor time of a process from its start to its end; of several the least counts.
The plain test bench records nothing; the engines record everything and print their summary. The first
run of an engine compiles, the second finds on disk what the first has kept.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence

from busbox.basics.cache import VARIABLE

#: Engines that are compared, and the cycles that they run of signal_cabin; None: all.
ENGINES: tuple[tuple[str, int | None], ...] = (
    ("reference", 15_000), ("python", None), ("llvm", None),
)  # fmt: skip
#: Accesses of signal_cabin that the plain test bench makes, and the cycles that they take.
ACCESSES, CYCLES = 1_000, 14_710
#: Cycles of the whole of signal_cabin.
WHOLE = 843_896


def seconds(words: Sequence[str], cache: str = "off") -> float:
    """Return the processor time of a process, from its start to its end."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, *words],
        check=True,
        capture_output=True,
        env=os.environ | {VARIABLE: cache},
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


def busbox(name: str, engine: str, *words: str) -> list[str]:
    """Return the command that runs a bench with all devices in hardware."""
    start = "from busbox.cli import main; main()"
    return ["-c", start, "run", name, "--all-hardware", "--engine", engine, *words]


def first_light(engines: Sequence[str], times: int) -> None:
    """Print how long first_light takes, first and second run."""
    print("\nfirst_light in hardware, from start to end of a process")
    plain = min(seconds(["-m", "tests.plain_bench", "first_light"]) for _ in range(times))
    print(f"  {'plain test bench':22}{plain:8.2f} s", flush=True)
    for engine in engines:
        both = []
        for _ in range(times):
            with tempfile.TemporaryDirectory() as cache:
                both.append([seconds(busbox("first_light", engine), cache) for _ in range(2)])
        for which, took in zip(("first", "second"), map(min, zip(*both, strict=True)), strict=True):
            print(f"  {f'{engine}, {which} run':22}{took:8.2f} s{plain / took:9.2f} times as fast",
                  flush=True)  # fmt: skip


def cabin(engines: Sequence[tuple[str, int | None]], accesses: int) -> None:
    """Print how many cycles a second signal_cabin is run with."""
    print("\nsignal_cabin in hardware, cycles a second, processes as above")
    took = seconds(["-m", "tests.plain_bench", "signal_cabin", str(accesses)])
    plain = CYCLES * accesses / ACCESSES / took
    print(f"  {'plain test bench':22}{plain:12,.0f}", flush=True)
    for engine, until in engines:
        words = [] if until is None else ["--until", str(until)]
        with tempfile.TemporaryDirectory() as cache:
            command = busbox("signal_cabin_recorded", engine, *words)
            took = [seconds(command, cache) for _ in range(2)][1]
        speed = (WHOLE if until is None else until) / took
        print(f"  {f'{engine}, second run':22}{speed:12,.0f}{speed / plain:9.1f} times", flush=True)


def main(
    engines: Sequence[tuple[str, int | None]] = ENGINES, accesses: int = ACCESSES, times: int = 3
) -> None:
    """Print both tables."""
    first_light([name for name, _ in engines], times)
    cabin(engines, accesses)


if __name__ == "__main__":
    main()
