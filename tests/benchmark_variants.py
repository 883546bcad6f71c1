"""Variants a second: a sweep, whose variants share one compiled design, against each built alone."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from functools import partial

import busbox
from busbox.bench.bench import Bench
from busbox.variants.working import cores

#: Bench, and variants of a sweep.
CASES = (("first_light", 100), ("signal_cabin", 10), ("signal_cabin_recorded", 10))


def alone(bench: Bench, waits: int, engine: str) -> None:
    """Run variants one by one, each built anew."""
    for wait in range(waits):
        bench.with_values({"slot.lamps.wait": wait}).run(engine, carried=False)


def swept(bench: Bench, count: int, engine: str, jobs: int) -> float:
    """Return the variants a second of a sweep."""
    vary = {"slot.lamps.wait": list(range(count))}
    return count / seconds(lambda: busbox.sweep(bench, vary, engine=engine, jobs=jobs))


def seconds(run: Callable[[], object]) -> float:
    """Return how long something takes."""
    begun = time.perf_counter()
    run()
    return time.perf_counter() - begun


def main(cases: Iterable[tuple[str, int]] = CASES, engine: str = "llvm") -> None:
    """Print variants a second of one process, of one a core, and the ratio to variants built alone."""
    every = f"{cores()} processes"
    print(f"\n{'variants a second':34}{'variants':>11}{'1 process':>13}{every:>13}{'ratio':>9}")
    for name, count in cases:
        bench = Bench.load(name)
        few = min(count, 3)
        built = few / seconds(partial(alone, bench, few, engine))
        one, several = (swept(bench, count, engine, jobs) for jobs in (1, cores()))
        print(f"{name:34}{count:>11,}{one:>13.1f}{several:>13.1f}{one / built:>9.1f}", flush=True)


if __name__ == "__main__":
    main()
