"""A recording: all facts of a run, and the results of judging; it can be saved and loaded."""

from busbox.recording.accesses import COLUMNS, WINDOW, Accesses, IntColumn, where, windows
from busbox.recording.carried import MOST_BYTES, CarriedBench, is_plain
from busbox.recording.judged import Certainty, Finding, Verdict
from busbox.recording.parts import (
    AwaitGivenUp,
    Character,
    CoreFacts,
    Event,
    Frame,
    HandlerStorm,
    Line,
    LineReading,
    PollGivenUp,
    PortBreach,
    SlotInfo,
    StopPoint,
    Text,
    UndefinedSeen,
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
    "Certainty",
    "Character",
    "CoreFacts",
    "Event",
    "Finding",
    "Frame",
    "HandlerStorm",
    "IntColumn",
    "Line",
    "LineReading",
    "PollGivenUp",
    "PortBreach",
    "Recording",
    "SlotInfo",
    "StopPoint",
    "Text",
    "UndefinedSeen",
    "Verdict",
    "is_plain",
    "where",
    "windows",
]
