"""Busbox: a cycle-level simulator of a soft-core's system bus.

>>> import busbox
>>> recording = busbox.load_bench("first_light").run()
>>> recording.texts["telegraph"]
'line free\\n'

``Bench`` and ``load_bench`` open a bench, its ``run`` gives a judged ``Recording``; ``judge``
judges one that was loaded.

The author of a device imports from here alone: ``RegisterModel`` and ``CycleModel`` are bases of
devices in Python, ``Hardware`` (with ``Registers``, ``NoteReader``) and ``PortedHardware`` of those in
Amaranth, ``Declaration`` of what both share; ``Register``, ``Field``, ``RegisterTable``, ``Pin`` and
``Setting`` declare them, ``load_registers`` reads a declaration from a file, ``Write`` describes a
write to a device, and ``Host`` what a model may use; ``NO_ACCESS``, ``RELEASED`` and ``REQUIRED`` stand
for no access, a pin that is not driven, and a setting that a bench must give.

Errors raised on purpose
are subclasses of ``BusboxError``; ``InputError`` says what is wrong with an input. A recording is
made of ``Accesses``, ``Frame``, ``Finding``, ``Verdict`` and more (``busbox.recording``).

``busbox.board``, ``busbox.bus``, ``busbox.device``, ``busbox.exports``, ``busbox.findings``,
``busbox.formats``, ``busbox.lines``, ``busbox.plugins`` and ``busbox.recording`` hold the rest of
what is used from outside, such as the contracts of what can be added; each is imported on first use.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from busbox.basics.errors import BusboxError, InputError
    from busbox.bench.bench import Bench, load_bench
    from busbox.bench.opening import judge
    from busbox.bus.hardware import Hardware, NoteReader, Registers
    from busbox.bus.ports.hardware import PortedHardware
    from busbox.device import (
        NO_ACCESS,
        RELEASED,
        REQUIRED,
        CycleModel,
        Declaration,
        Field,
        Host,
        Pin,
        Register,
        RegisterModel,
        RegisterTable,
        Setting,
        Write,
    )
    from busbox.findings.judging import PartlyJudged
    from busbox.recording import Accesses, Finding, Frame, Recording, Verdict
    from busbox.registers.loading import load_registers
    from busbox.variants.sweep import sweep

#: Public names and the modules they come from; each is imported on first use.
_HOMES = {
    "Accesses": "busbox.recording",
    "Bench": "busbox.bench.bench",
    "BusboxError": "busbox.basics.errors",
    "CycleModel": "busbox.device",
    "Declaration": "busbox.device",
    "Field": "busbox.device",
    "Finding": "busbox.recording",
    "Frame": "busbox.recording",
    "Hardware": "busbox.bus.hardware",
    "Host": "busbox.device",
    "InputError": "busbox.basics.errors",
    "NO_ACCESS": "busbox.device",
    "NoteReader": "busbox.bus.hardware",
    "PartlyJudged": "busbox.findings.judging",
    "Pin": "busbox.device",
    "PortedHardware": "busbox.bus.ports.hardware",
    "RELEASED": "busbox.device",
    "REQUIRED": "busbox.device",
    "Recording": "busbox.recording",
    "Register": "busbox.device",
    "RegisterModel": "busbox.device",
    "RegisterTable": "busbox.device",
    "Registers": "busbox.bus.hardware",
    "Setting": "busbox.device",
    "Verdict": "busbox.recording",
    "Write": "busbox.device",
    "judge": "busbox.bench.opening",
    "load_bench": "busbox.bench.bench",
    "load_registers": "busbox.registers.loading",
    "sweep": "busbox.variants.sweep",
}

#: The version, in its one place: the packages read it from here.
__version__ = "0.1.0"

#: Rooms that users import from.
_ROOMS = (
    "board", "bus", "device", "exports", "findings", "formats", "lines", "plugins", "recording",
)  # fmt: skip

__all__ = [
    "NO_ACCESS",
    "RELEASED",
    "REQUIRED",
    "Accesses",
    "Bench",
    "BusboxError",
    "CycleModel",
    "Declaration",
    "Field",
    "Finding",
    "Frame",
    "Hardware",
    "Host",
    "InputError",
    "NoteReader",
    "PartlyJudged",
    "Pin",
    "PortedHardware",
    "Recording",
    "Register",
    "RegisterModel",
    "RegisterTable",
    "Registers",
    "Setting",
    "Verdict",
    "Write",
    "judge",
    "load_bench",
    "load_registers",
    "sweep",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    if name in _ROOMS:
        return import_module(f"busbox.{name}")
    raise AttributeError(f"module 'busbox' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*__all__, *_ROOMS, "__version__"])
