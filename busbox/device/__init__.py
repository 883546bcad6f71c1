"""The contract of a device, its base classes, settings and pins: all that a device's author imports.

``contract`` says what a device receives and what it may do, ``bases`` has classes to derive from,
``pins``, ``settings`` and ``past`` what a declaration holds. Registers come from
:mod:`busbox.map.registers`; hardware in Amaranth from :mod:`busbox.bus.hardware`.
"""

from busbox.device.bases import CycleModel, RegisterModel, Write
from busbox.device.contract import (
    ERROR,
    Answer,
    BusAccess,
    Declaration,
    DeviceFactory,
    Hold,
    Host,
    LiveDevice,
    Site,
    has_one_table,
)
from busbox.device.past import NO_ACCESS, Past, Reason, Reasons
from busbox.device.pins import RELEASED, Pin
from busbox.device.settings import REQUIRED, Setting
from busbox.map.registers import (
    ACCESS_TYPES,
    LANE_MASKS,
    WORD,
    Field,
    Place,
    Register,
    RegisterTable,
    lane_mask,
    show_lanes,
)

__all__ = [
    "ACCESS_TYPES",
    "ERROR",
    "LANE_MASKS",
    "NO_ACCESS",
    "RELEASED",
    "REQUIRED",
    "WORD",
    "Answer",
    "BusAccess",
    "CycleModel",
    "Declaration",
    "DeviceFactory",
    "Field",
    "Hold",
    "Host",
    "LiveDevice",
    "Past",
    "Pin",
    "Place",
    "Reason",
    "Reasons",
    "Register",
    "RegisterModel",
    "RegisterTable",
    "Setting",
    "Site",
    "Write",
    "has_one_table",
    "lane_mask",
    "show_lanes",
]
