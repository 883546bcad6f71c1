"""Busbox: a cycle-level simulator of a soft-core's system bus.

>>> import busbox
>>> recording = busbox.load_bench("first_light").run()
>>> recording.texts["telegraph"]
'line free\\n'
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from busbox.basics.errors import BusboxError, InputError
    from busbox.bench.bench import Bench, load_bench
    from busbox.bench.opening import judge
    from busbox.recording import Recording

#: Public names and the modules they come from; each is imported on first use.
_HOMES = {
    "Bench": "busbox.bench.bench",
    "BusboxError": "busbox.basics.errors",
    "InputError": "busbox.basics.errors",
    "Recording": "busbox.recording",
    "judge": "busbox.bench.opening",
    "load_bench": "busbox.bench.bench",
}

__version__ = "0.1.0"

__all__ = ["Bench", "BusboxError", "InputError", "Recording", "judge", "load_bench"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'busbox' has no attribute {name!r}")
