"""Python drivers that do what no driver should, on the real process."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.saying import plain_environment

BENCH = """
clock = "1 MHz"

[slot.levers]
model = "gpio"
base = 0x1000
size = 0x1000
"""
DRIVERS = """
import sys


def wrong_type(bus):
    bus.pin(5)


def huge(bus):
    bus.poll("levers.OUT", 1, limit=10**19)


def never(bus):
    print("it computes", file=sys.stderr, flush=True)
    while True:
        pass


def stubborn(bus):
    print("it computes", file=sys.stderr, flush=True)
    while True:
        try:
            bus.write("levers.OUT", 1)
        except BaseException:
            pass
"""


def start(folder: Path, driver: str, *more: str, seconds: str = "60") -> subprocess.Popen[str]:
    """Start a run of a driver."""
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "day.py").write_text(DRIVERS, encoding="utf-8")
    words = ["run", ".", "--engine", "python", "--traffic", f"day.py:{driver}", *more]
    return subprocess.Popen(
        [sys.executable, "-m", "busbox", *words],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env=plain_environment(BUSBOX_HOOK_SECONDS=seconds),
    )


@pytest.mark.parametrize(
    ("driver", "told"),
    [
        (
            "wrong_type",
            "busbox: day.py:6: the function raised ValueError: a pin must be named by a string, "
            "not 5\n",
        ),
        (
            "huge",
            "busbox: day.py:10: the function raised ValueError: limit must be a whole number from 1 "
            "to 4,611,686,018,427,387,904, not 10000000000000000000\n",
        ),
    ],
)
def test_an_argument_that_cannot_be_is_told(driver: str, told: str, tmp_path: Path) -> None:
    """File and line, what was found and what was expected; exit code 2."""
    with start(tmp_path, driver) as run:
        assert run.communicate()[1] == told
    assert run.returncode == 2


def test_a_driver_that_never_returns_ends_at_the_limit(tmp_path: Path) -> None:
    """The message names the file, the function, the limit and the variable that sets it."""
    with start(tmp_path, "never", seconds="0.3") as run:
        told = run.communicate()[1].splitlines()[-1]
    assert run.returncode == 2
    assert told.startswith("busbox: day.py:")
    assert "never made no step and computed for more than 0.3 s" in told
    assert "BUSBOX_HOOK_SECONDS" in told


@pytest.mark.quick
@pytest.mark.parametrize("driver", ["never", "stubborn"])
def test_the_first_interrupt_ends_a_driver(driver: str, tmp_path: Path) -> None:
    """Ctrl-C once ends a run whose driver computes for ever, or catches everything: exit code 130."""
    with start(tmp_path, driver) as run:
        assert run.stderr is not None
        assert run.stderr.readline() == "it computes\n"
        time.sleep(0.2)
        run.send_signal(signal.SIGINT)
        assert run.communicate(timeout=60)[1].strip() == "stopped"
    assert run.returncode == 130


def test_a_driver_that_catches_everything_ends_with_its_run(tmp_path: Path) -> None:
    """With --until the run ends and reports, although the function never does."""
    with start(tmp_path, "stubborn", "--until", "100", "--brief") as run:
        out, _ = run.communicate(timeout=60)
    assert run.returncode == 0
    assert out.strip()
