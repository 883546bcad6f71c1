"""The comparisons that must find a mutant. Run in a process of its own: ``CHECK ENGINE``.

CHECK is a name of :data:`CHECKS`, or a test, as ``FILE::TEST`` from the folder of the tests.
The exit codes are those of :mod:`tests.mutant_runs`.
"""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from busbox import load_bench
from tests.against_naive import Plan
from tests.engines.netlist.test_random_designs import agree as designs_agree
from tests.engines.netlist.test_values import WIDTHS, compute, far_left, shift
from tests.engines.test_engines_agree import MIXED, agree, check
from tests.models.test_twins import as_hardware
from tests.mutant_runs import meaning, run_tests
from tests.plans import plans

SECONDS = 60
#: Benches, and their slots in hardware.
BENCHES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("interrupted", ()),
    ("interrupted", ("levers", "telegraph", "lamps")),
    ("edges", ("clock", "lamps", "levers", "telegraph")),
    ("edges", ()),
    ("edges", ("telegraph",)),
)


@contextmanager
def ending() -> Iterator[None]:
    """Raise where a run does not end: a hundred times as long as it takes is too long."""

    def give_up(*_: object) -> None:
        raise TimeoutError("the run does not end")

    signal.signal(signal.SIGALRM, give_up)
    signal.alarm(SECONDS)
    yield
    signal.alarm(0)


def designs(engine: str) -> None:
    """Compare random designs with Amaranth's simulator, on both machines."""
    designs_agree(0, 60)


def values(engine: str) -> None:
    """Compare every operation, on both machines, with Python's numbers."""
    for width in WIDTHS:
        for signs in ((False, False), (True, True), (True, False)):
            compute(width, *signs)
        for places in (4, 8):
            shift(width, True, places)
    far_left()


def sharp(engine: str) -> None:
    """Run sharp cases: of cycles and calls that are left out, of commands that are cut."""
    for name in ("test_quiescence.py", "test_commands_cut.py"):
        run_tests(f"engines/{name}")


def benches(engine: str) -> None:
    """Compare benches with the judge."""
    for name, slots in BENCHES:
        bench = load_bench(name).with_values(as_hardware(*slots))
        with ending():
            agree(bench.run("reference"), bench.run(engine))


def drawn(engine: str) -> None:
    """Compare plans with the judge; the same ones every time."""

    @settings(
        max_examples=200, database=None, derandomize=True, deadline=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck), report_multiple_bugs=False,
    )  # fmt: skip
    @given(plan=plans(), chosen=MIXED)
    def each(plan: Plan, chosen: list[bool]) -> None:
        with ending():
            check(plan, chosen, engine)

    each()


def page(engine: str) -> None:
    """Run the cases of pins, handlers and resets that are worked out from the semantics page."""
    with ending():
        run_tests("run/test_pins_and_handlers.py")


def guards(engine: str) -> None:
    """Compare a device that answers in a reset."""
    from busbox.engines.reference import ReferenceEngine
    from tests.check.port import broken_devices
    from tests.engines.test_engine_limits import bench_of

    ReferenceEngine.watch_ports = False
    with TemporaryDirectory() as folder:
        for device in (broken_devices.AnswersInReset, broken_devices.AnswersCyc):
            bench = bench_of(device, "write 0 1\nread 0\n", Path(folder))
            agree(bench.run("reference", 40), bench.run(engine, 40))


CHECKS: dict[str, Callable[[str], None]] = {
    "designs": designs,
    "values": values,
    "sharp": sharp,
    "benches": benches,
    "plans": drawn,
    "guards": guards,
    "page": page,
}


def main(check: str, engine: str) -> int:
    """Run a comparison; return the exit code."""
    try:
        if "::" in check:
            run_tests(check)
        else:
            CHECKS[check](engine)
    except (Exception, pytest.fail.Exception) as error:
        return meaning(error)
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
