"""Small programs for a core, and the bench that they run on."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from busbox import Bench

FOLDER = Path(__file__).parent


def bench_keys(program: str, **core: Any) -> dict[str, Any]:
    """Return the keys of a bench that executes a program; ``core``: keys of ``[core]``."""
    return {
        "clock": "16 MHz",
        "slot": {
            "levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000},
            "telegraph": {"model": "uart", "base": 0x4000_1000, "size": 0x1000},
        },
        "traffic": {"file": program},
        "core": {"isa": "rv32im", "ebreak": "end", **core},
    }


def bench_of(program: str, **changes: Any) -> Bench:
    """Return the bench that executes a program; ``changes``: keys that are not as in ``[core]``."""
    core = changes.pop("core", {})
    return Bench(bench_keys(program, **core) | changes, folder=FOLDER, name=program)
