"""Tests of starter: python -m pytest in this folder runs them."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from busbox import Recording

HERE = Path(__file__).parent


def busbox(*words: str | Path) -> None:
    """Run a verb as on the command line; its exit code must be 0."""
    command = [sys.executable, "-m", "busbox", *map(str, words)]
    done = subprocess.run(
        command, cwd=HERE, capture_output=True, text=True, check=False, encoding="utf-8"
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_bench_holds(busbox_run: Callable[..., Recording]) -> None:
    """Every expectation of bench.toml is met, and nothing is found."""
    assert [one.what for one in busbox_run(".").verdicts if not one.met] == []


@pytest.mark.parametrize("level", [0, 1, 7, 10])
def test_the_lamp_is_on_for_level_cycles_of_a_period(
    busbox_run: Callable[..., Recording], tmp_path: Path, level: int
) -> None:
    """Counted over ten periods of ten cycles."""
    (tmp_path / "some.steps").write_text(f"write starter.LEVEL {level}\npause 120\n", "utf-8")
    changes = {"slot.starter.period": 10, "expect": []}
    recording = busbox_run(".", set=changes, traffic=tmp_path / "some.steps")
    cycles, levels = recording.edges("starter.lamp")
    seen = [levels[cycles.searchsorted(cycle, "right") - 1] for cycle in range(20, 120)]
    assert sum(seen) == 10 * level


def test_model_and_hardware_agree_in_every_cycle(tmp_path: Path) -> None:
    """Random accesses, resets among them; a difference is saved as a bench."""
    busbox("twin", ".", "starter", "--random", "300", "--save", tmp_path / "difference")


def test_the_port_keeps_the_rules_of_the_bus() -> None:
    """Wishbone B4, as the hardware twin drives it."""
    busbox("check", "starter.py:Starter", "--cycles", "200")
