"""The system that a run needs: its hardware and its scenario."""

from __future__ import annotations

from dataclasses import dataclass

from busbox.system.hardware import SystemHardware
from busbox.system.scenario import Scenario


@dataclass(frozen=True, kw_only=True)
class System(SystemHardware, Scenario):
    """Everything a run needs: the fields of its hardware and those of its scenario.

    Attributes
    ----------
    name : name of the bench in messages
    """

    name: str = "bench"
