"""A recording: all facts of a run; it can be saved to one file and loaded again."""

from busbox.recording.judged import Finding
from busbox.recording.recording import (
    COLUMNS,
    WINDOW,
    Accesses,
    Character,
    Event,
    Frame,
    IntColumn,
    Line,
    Recording,
    Seen,
    SlotInfo,
    Text,
    where,
    windows,
)

__all__ = [
    "COLUMNS",
    "WINDOW",
    "Accesses",
    "Character",
    "Event",
    "Finding",
    "Frame",
    "IntColumn",
    "Line",
    "Recording",
    "Seen",
    "SlotInfo",
    "Text",
    "where",
    "windows",
]
