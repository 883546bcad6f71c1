"""Mistakes in the hardware twins are found: accesses drawn at random show each of them.

The mistakes are invented by somebody who did not write the twins.
"""

from __future__ import annotations

import importlib
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from busbox.bench.bench import Bench
from busbox.check.twin import Difference, Pair, compare
from busbox.device.twins import twin_of
from busbox.engines import DEFAULT_ENGINE, engine_class
from busbox.system.system import System
from tests.check.twin.mutants import MUTANTS, Mutant

#: (accesses, length of a plan): short plans first, as most mutants need few.
PLANS = ((180, 60), (12_320, 440))
SEED = 1891

CABIN: dict[str, Any] = {
    "clock": "1 MHz",
    "hang_after": 3000,
    "slot": {
        "levers": {"model": "gpio", "base": 0x1000, "size": 0x100, "wait": 0, "width": 12},
        "clock": {"model": "timer", "base": 0x2000, "size": 0x20, "wait": 0},
        "telegraph": {"model": "uart", "base": 0x3000, "size": 0x10, "wait": 0, "divisor": 2},
        "lamps": {
            "model": "pulse_led",
            "base": 0x4000,
            "size": 0x200,
            "wait": 0,
            "lamps": 3,
            "count": 2,
            "high": 0x0002_0001,
            "period": 0x0005_0003,
        },
        "diary": {"model": "memory", "base": 0x5000, "size": 0x40, "wait": 1, "file": "page.bin"},
        "rules": {
            "model": "memory",
            "base": 0x6000,
            "size": 0x40,
            "wait": 1,
            "kind": "rom",
            "file": "page.bin",
        },
    },
}


@pytest.fixture(scope="module")
def cabin(tmp_path_factory: pytest.TempPathFactory) -> System:
    """Return the bench, with a page of 12 different words in both memories."""
    folder = tmp_path_factory.mktemp("cabin")
    (folder / "page.bin").write_bytes(bytes(range(1, 49)))
    return Bench(CABIN, folder=folder).system([])


def changed(module: ModuleType, old: str, new: str) -> ModuleType:
    """Return the module anew, with one text changed in its source."""
    assert module.__file__ is not None
    source = Path(module.__file__).read_text(encoding="utf-8")
    assert source.count(old) == 1, f"{old!r} must occur once, not {source.count(old)} times"
    fresh = ModuleType(module.__name__)
    fresh.__package__, fresh.__file__ = module.__package__, module.__file__
    exec(compile(source.replace(old, new), module.__file__, "exec"), vars(fresh))
    return fresh


def built(mutant: Mutant, twin: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    """Return the twin's class with the mistake in it, or in the register part below it."""
    module = importlib.import_module(twin.__module__)
    if mutant.base:
        base = importlib.import_module("busbox.bus.hardware")
        base = changed(base, mutant.old, mutant.new)
        monkeypatch.setitem(sys.modules, "busbox.bus.hardware", base)
        module = changed(module, f"\nclass {twin.__name__}(", f"\nclass {twin.__name__}(")
    else:
        module = changed(module, mutant.old, mutant.new)
    return getattr(module, twin.__name__)


def played(system: System, number: int, hardware: Any) -> tuple[Difference | None, int]:
    """Play drawn accesses to model and hardware; return the first difference, and how many it took."""
    factory = engine_class(DEFAULT_ENGINE)
    pair, before = Pair(system, number, hardware, factory), 0
    for count, length in PLANS:
        for waiting, plan in pair.plans(count, SEED + length, length):
            difference, _, _ = compare(plan.system(waiting, number), 0, hardware, factory)
            if difference is not None:
                return difference, before + difference.access + 1
            before += length
    return None, before


def check(mutant: Mutant, system: System, monkeypatch: pytest.MonkeyPatch) -> None:
    """Assert that drawn accesses show the mutant, and that the report names the right place."""
    names = [device.name for device in system.devices]
    number = names.index(mutant.slot)
    twin = twin_of(system.devices[number].model, mutant.slot)
    difference, count = played(system, number, built(mutant, twin, monkeypatch))
    assert difference is not None, f"not found in {count} accesses"
    assert difference.name.partition(".")[0] in mutant.names


def labels(mutants: tuple[Mutant, ...]) -> list[str]:
    """Return what the tests of the mutants are called."""
    return [f"{mutant.slot}: {mutant.mistake}" for mutant in mutants]


QUICK = tuple(mutant for mutant in MUTANTS if mutant.quick)
OTHERS = tuple(mutant for mutant in MUTANTS if not mutant.quick)


@pytest.mark.parametrize("mutant", QUICK, ids=labels(QUICK))
def test_a_mistake_is_found_soon(
    mutant: Mutant, cabin: System, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two mistakes of each twin are found, and the report names where they show."""
    check(mutant, cabin, monkeypatch)


@pytest.mark.long
@pytest.mark.parametrize("mutant", OTHERS, ids=labels(OTHERS))
def test_a_mistake_is_found(mutant: Mutant, cabin: System, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every other mistake is found in 12,500 accesses, and the report names where it shows."""
    check(mutant, cabin, monkeypatch)
