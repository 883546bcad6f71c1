"""The CPU of a run, which runs traffic on the bus.

``commands``: what engines run natively; ``source``: where steps come from; ``listed``: steps from a
list or a file; ``driver``: a Python function; ``bus``: what it sees; ``player``: the rules of the CPU
(semantics page, 10 to 18), independent of the engine.
"""

from busbox.cpu.bus import Bus, BusError
from busbox.cpu.commands import Result
from busbox.cpu.driver import FunctionSource
from busbox.cpu.listed import ListedSource
from busbox.cpu.source import Moment, Routine, Source

__all__ = [
    "Bus",
    "BusError",
    "FunctionSource",
    "ListedSource",
    "Moment",
    "Result",
    "Routine",
    "Source",
]
