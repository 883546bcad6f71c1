"""Traffic: the stream of steps that the CPU plays on the bus.

``steps`` the kinds of step, ``text`` and ``columns`` the file formats, ``files`` formats by suffix,
``source`` what yields steps while a run goes on.
"""

from busbox.traffic.files import FORMATS, read_traffic, write_traffic
from busbox.traffic.source import Bus, BusError, FunctionSource, ListedSource, Result, Source
from busbox.traffic.steps import (
    Access,
    Await,
    Handler,
    Mark,
    Named,
    Pause,
    Poll,
    Reset,
    Step,
)

__all__ = [
    "FORMATS",
    "Access",
    "Await",
    "Bus",
    "BusError",
    "FunctionSource",
    "Handler",
    "ListedSource",
    "Mark",
    "Named",
    "Pause",
    "Poll",
    "Reset",
    "Result",
    "Source",
    "Step",
    "read_traffic",
    "write_traffic",
]
