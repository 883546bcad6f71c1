"""Busbox: a cycle-level simulator of a soft-core's system bus.

>>> import busbox
>>> recording = busbox.load_bench("first_light").run()
>>> recording.texts["telegraph"]
'line free\\n'

``Bench`` and ``load_bench`` open a bench, its ``run`` gives a judged ``Recording``; ``judge``
judges one that was loaded. ``RegisterModel`` and ``CycleModel`` are bases of devices in Python,
``Hardware`` of those in Amaranth; ``Register``, ``Field``, ``RegisterTable``, ``Pin`` and
``Setting`` declare them, and ``Write`` describes a write to a device. Errors raised on purpose
are subclasses of ``BusboxError``; ``InputError`` says what is wrong with an input.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from busbox.basics.errors import BusboxError, InputError
    from busbox.bench.bench import Bench, load_bench
    from busbox.bench.opening import judge
    from busbox.bus.hardware import Hardware
    from busbox.device import (
        CycleModel,
        Field,
        Pin,
        Register,
        RegisterModel,
        RegisterTable,
        Setting,
        Write,
    )
    from busbox.recording import Recording

#: Public names and the modules they come from; each is imported on first use.
_HOMES = {
    "Bench": "busbox.bench.bench",
    "BusboxError": "busbox.basics.errors",
    "CycleModel": "busbox.device",
    "Field": "busbox.device",
    "Hardware": "busbox.bus.hardware",
    "InputError": "busbox.basics.errors",
    "Pin": "busbox.device",
    "Recording": "busbox.recording",
    "Register": "busbox.device",
    "RegisterModel": "busbox.device",
    "RegisterTable": "busbox.device",
    "Setting": "busbox.device",
    "Write": "busbox.device",
    "judge": "busbox.bench.opening",
    "load_bench": "busbox.bench.bench",
}

__version__ = "0.1.0"

__all__ = [
    "Bench",
    "BusboxError",
    "CycleModel",
    "Field",
    "Hardware",
    "InputError",
    "Pin",
    "Recording",
    "Register",
    "RegisterModel",
    "RegisterTable",
    "Setting",
    "Write",
    "judge",
    "load_bench",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'busbox' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
