"""A recording: all facts of a run, and what judging found; it can be saved and loaded again."""

from busbox.recording.accesses import COLUMNS, WINDOW, Accesses, IntColumn, where, windows
from busbox.recording.carried import MOST_BYTES, CarriedBench, is_plain
from busbox.recording.judged import Finding, Verdict
from busbox.recording.parts import (
    AwaitGivenUp,
    Character,
    Event,
    Frame,
    HandlerStorm,
    Line,
    PollGivenUp,
    PortBreach,
    Seen,
    SlotInfo,
    Stop,
    Text,
)
from busbox.recording.recording import Recording
from busbox.recording.store import SUFFIX
from busbox.recording.tables import TABLES

__all__ = [
    "COLUMNS",
    "MOST_BYTES",
    "SUFFIX",
    "TABLES",
    "WINDOW",
    "Accesses",
    "AwaitGivenUp",
    "CarriedBench",
    "Character",
    "Event",
    "Finding",
    "Frame",
    "HandlerStorm",
    "IntColumn",
    "Line",
    "PollGivenUp",
    "PortBreach",
    "Recording",
    "Seen",
    "SlotInfo",
    "Stop",
    "Text",
    "Verdict",
    "is_plain",
    "where",
    "windows",
]
