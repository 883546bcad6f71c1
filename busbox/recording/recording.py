"""A recording: all that a run leaves. It can be saved to one file and loaded again.

A file ``*.recording.npz`` holds NumPy columns and one JSON text, with ``kind`` and ``version``.
"""

from __future__ import annotations

import json
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import InputError, one_of
from busbox.basics.files import replacing
from busbox.basics.growing import Column
from busbox.bus.transfers import TERMINATORS
from busbox.recording.judged import Finding, Verdict

KIND = "recording"
VERSION = 3
#: Version 1 has nothing of attachments; 1 and 2 call expectations "musts", and "held" what was met, and
#: name no file beside the traffic's.
READ_VERSIONS = (1, 2, 3)

#: The columns of the accesses, and the type of each: 55 bytes an access.
COLUMNS: Mapping[str, str] = {
    "start": "i8",
    "end": "i8",
    "address": "u4",
    "write": "?",
    "lanes": "u1",
    "data": "u4",
    "terminator": "u1",
    "slot": "i2",
    "step": "i4",
    "line": "i4",
    "pc": "i8",
    "expected": "i8",
    "file": "i2",
}

IntColumn = NDArray[Any]


class Accesses:
    """The accesses of a run as columns; ``accesses.end`` and ``accesses["end"]`` are the same array.

    Attributes
    ----------
    start, end : cycles s and e of the semantics page
    address : byte address, a multiple of 4
    write : True for a write
    lanes : selected bytes, bit k = SEL(k)
    data : the word written or read, in lane position; 0 for a read without ACK
    terminator : number in :data:`busbox.engines.TERMINATORS`
    slot : number of the slot that decodes the address, -1 for none
    step : number of the step in the traffic, from 0; the reads of a poll share one
    line : line of the traffic file, or of another, -1 if there is none
    pc : address of the instruction, -1 if it is not known
    expected : the word that was recorded for a read, -1 if nothing is compared
    file : the file of ``line``: its place in ``files`` of the recording, -1 for the traffic's own
    """

    start: IntColumn
    end: IntColumn
    address: IntColumn
    write: IntColumn
    lanes: IntColumn
    data: IntColumn
    terminator: IntColumn
    slot: IntColumn
    step: IntColumn
    line: IntColumn
    pc: IntColumn
    expected: IntColumn
    file: IntColumn

    def __init__(self, columns: Mapping[str, IntColumn]) -> None:
        for name, kind in COLUMNS.items():
            setattr(self, name, np.asarray(columns[name], dtype=kind))

    def __getitem__(self, name: str) -> IntColumn:
        if name not in COLUMNS:
            raise KeyError(f"a column must be one of {', '.join(COLUMNS)}, not {name!r}")
        column: IntColumn = getattr(self, name)
        return column

    def __len__(self) -> int:
        return len(self.start)

    @property
    def terminators(self) -> list[str]:
        """The terminators in words."""
        return [TERMINATORS[number] for number in self.terminator]

    def part(self, first: int, end: int) -> Accesses:
        """Return the accesses ``first`` to ``end - 1``, without a copy."""
        return Accesses({name: self[name][first:end] for name in COLUMNS})


#: Accesses that are looked at in one go.
WINDOW = 1 << 17


def windows(accesses: Accesses) -> Iterator[tuple[int, Accesses]]:
    """Yield (number of the first access, some accesses), until all have been seen.

    Whoever computes with whole columns does it window by window: a long recording is not in memory.
    """
    for first in range(0, len(accesses), WINDOW):
        yield first, accesses.part(first, min(first + WINDOW, len(accesses)))


def where(accesses: Accesses, test: Callable[[Accesses], Any]) -> Iterator[int]:
    """Yield the numbers of the accesses for which ``test`` gives true, window by window."""
    for first, part in windows(accesses):
        yield from (np.flatnonzero(test(part)) + first).tolist()


@dataclass(frozen=True)
class Event:
    """Something a device reported.

    Attributes
    ----------
    cycle : when
    device : the slot's name
    kind : what, e.g. ``frame`` or ``byte-lost``
    access : number of the access that caused it, -1 if none did
    details : e.g. ``colours`` of a frame
    """

    cycle: int
    device: str
    kind: str
    access: int
    details: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Frame:
    """A frame that a device meant to send: cycle of its first bit, access, colours 0xRRGGBB."""

    cycle: int
    access: int
    colours: tuple[int, ...]


@dataclass(frozen=True)
class Line:
    """A pin's history: from ``cycles[i]`` on its level is ``levels[i]``; the first is cycle 0.

    A level of 2 means that the device has released the pin.
    ``accesses[i]`` is the access that caused the edge, -1 if none did.
    """

    direction: str
    cycles: IntColumn
    levels: IntColumn
    accesses: IntColumn


@dataclass(frozen=True)
class Text:
    """Bytes that left a device: the cycle in which each one's stop bit ended, and its access."""

    cycles: IntColumn
    bytes: IntColumn
    accesses: IntColumn

    @property
    def text(self) -> str:
        """The bytes as text, one character a byte (Latin-1)."""
        return bytes(self.bytes.astype("u1")).decode("latin-1")


@dataclass(frozen=True)
class Character:
    """A character on a line: cycle of its start edge, the access that caused that, its value."""

    cycle: int
    access: int
    value: int


@dataclass(frozen=True)
class Seen:
    """What an attachment understood of its line.

    Attributes
    ----------
    kind : as in the bench
    pin : such as ``lamps.line``
    rows : (what, how it was), for people
    facts : the same for programs
    text : what it read, or None
    characters : see :class:`Character`
    frames : the frames that the lamps show, each with the access that caused its first edge, or None
    """

    kind: str
    pin: str
    rows: tuple[tuple[str, str], ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    text: str | None = None
    characters: tuple[Character, ...] = ()
    frames: tuple[Frame, ...] | None = None


@dataclass(frozen=True)
class SlotInfo:
    """A slot as the recording knows it.

    Attributes
    ----------
    name, model, base, size, wait : as in the bench
    delay : rows from the start of an access to the first that the device sees
    sends : what its device gives: ``text``, ``frames``
    """

    name: str
    model: str
    base: int
    size: int
    wait: int
    delay: int
    sends: tuple[str, ...] = ()


@dataclass(frozen=True)
class Recording:
    """All that a run leaves.

    Attributes
    ----------
    bench, engine, traffic : names
    clock_hz : hertz
    cycles : last row + 1
    ended : ``done``, ``until``, ``hang`` or ``settle``
    accesses : see :class:`Accesses`
    slots : in the order of the bench
    lines : pin name such as ``lamps.line`` to its history
    characters : slot name to the bytes it sent
    events : in order of cycle
    registers : slot name to register name to value, as in the last row
    marks : (row, text)
    resets : (first row, number of rows) of every reset that was reached
    notes : what a reader should know, one sentence each
    findings : at most 1000 of a rule
    counts : rule to ``slot.REGISTER`` to how many
    verdicts : each expectation of the bench, whether it was met, and what was seen
    seen : what each attachment understood, by name
    files : the files of lines beside the traffic's own, such as the library of a driver
    """

    bench: str
    engine: str
    traffic: str
    clock_hz: int
    cycles: int
    ended: str
    accesses: Accesses
    slots: tuple[SlotInfo, ...]
    lines: Mapping[str, Line]
    characters: Mapping[str, Text]
    events: tuple[Event, ...]
    registers: Mapping[str, Mapping[str, int]]
    marks: tuple[tuple[int, str], ...] = ()
    resets: tuple[tuple[int, int], ...] = ()
    notes: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    counts: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    verdicts: tuple[Verdict, ...] = ()
    seen: Mapping[str, Seen] = field(default_factory=dict)
    files: tuple[str, ...] = ()

    def edges(self, pin: str) -> tuple[IntColumn, IntColumn]:
        """Return (cycles, levels) of a pin such as ``"lamps.line"``; the first is cycle 0.

        Raises
        ------
        KeyError : there is no such pin
        """
        if pin not in self.lines:
            raise KeyError(f"there is no pin {pin!r}; the pins are {', '.join(self.lines)}")
        line = self.lines[pin]
        return line.cycles, line.levels

    @property
    def texts(self) -> dict[str, str]:
        """Slot name to what it sent as text, one character a byte (Latin-1)."""
        return {name: text.text for name, text in self.characters.items()}

    @property
    def frames(self) -> dict[str, list[Frame]]:
        """Slot name to the frames of lamps that it meant to send."""
        found: dict[str, list[Frame]] = {
            slot.name: [] for slot in self.slots if "frames" in slot.sends
        }
        for event in self.events:
            if "colours" in event.details:
                frame = Frame(event.cycle, event.access, tuple(event.details["colours"]))
                found.setdefault(event.device, []).append(frame)
        return found

    @property
    def traffic_name(self) -> str:
        """The traffic file's name, without its folder."""
        return Path(self.traffic).name

    def place_of(self, access: int) -> str:
        """Return file and line of an access's step, such as ``evening.steps:5``; "" if not known."""
        line, file = int(self.accesses.line[access]), int(self.accesses.file[access])
        if line < 0:
            return ""
        return f"{self.traffic_name if file < 0 else self.files[file]}:{line}"

    def save(self, path: str | Path) -> None:
        """Save to one file; what was there is replaced in one move.

        Raises
        ------
        InputError : the name does not end in .recording.npz, or the file cannot be written
        """
        path = _checked_name(path)
        arrays = {f"access/{name}": self.accesses[name] for name in COLUMNS}
        for pin, line in self.lines.items():
            arrays |= _packed(f"pin/{pin}", line, ("cycles", "levels", "accesses"))
        for name, text in self.characters.items():
            arrays |= _packed(f"text/{name}", text, ("cycles", "bytes", "accesses"))
        facts = {key: getattr(self, key) for key in _PLAIN} | {
            "kind": KIND,
            "version": VERSION,
            "slots": [asdict(slot) for slot in self.slots],
            "directions": {pin: line.direction for pin, line in self.lines.items()},
            "texts": list(self.characters),
            "events": [[e.cycle, e.device, e.kind, e.access, dict(e.details)] for e in self.events],
            "findings": [asdict(finding) for finding in self.findings],
            "expectations": [asdict(verdict) for verdict in self.verdicts],
            "seen": {name: asdict(one) for name, one in self.seen.items()},
        }
        arrays["facts"] = np.frombuffer(json.dumps(facts).encode("utf-8"), dtype="u1")
        with replacing(path) as file:
            np.savez_compressed(file, **arrays)  # type: ignore[arg-type]

    @classmethod
    def load(cls, path: str | Path) -> Recording:
        """Return the recording in a file.

        Raises
        ------
        InputError : the file cannot be read, is no recording, or is of a newer version
        """
        path = Path(path)
        try:
            with zipfile.ZipFile(path) as stored:
                arrays = {
                    name.removesuffix(".npy"): _read_column(stored, name)
                    for name in stored.namelist()
                }
            facts = dict(json.loads(bytes(arrays["facts"])))
        except OSError as error:
            raise InputError.of(f"cannot be read: {error.strerror or error}", str(path)) from None
        except (ValueError, TypeError, KeyError, EOFError, zipfile.BadZipFile, zlib.error):
            raise InputError.of("is no recording", str(path)) from None
        if facts.get("kind") != KIND:
            raise InputError.of(
                f"must be of the kind {KIND!r}, not {facts.get('kind')!r}", str(path)
            )
        if facts.get("version") not in READ_VERSIONS:
            known = one_of(map(str, READ_VERSIONS))
            raise InputError.of(
                f"has version {facts.get('version')}; this Busbox reads version {known}", str(path)
            )
        try:
            return _from_arrays(arrays, facts)
        except (KeyError, TypeError, ValueError):
            raise InputError.of("is a recording that lacks a part", str(path)) from None


_PLAIN = (
    "bench", "engine", "traffic", "clock_hz", "cycles", "ended", "registers", "marks", "resets",
    "notes", "counts", "files",
)  # fmt: skip


def _checked_name(path: str | Path) -> Path:
    path = Path(path)
    if not path.name.endswith(".recording.npz"):
        raise InputError.of("a recording's name must end in .recording.npz", str(path))
    return path


def _packed(stem: str, columns: object, names: tuple[str, ...]) -> dict[str, IntColumn]:
    return {f"{stem}/{name}": getattr(columns, name) for name in names}


#: Bytes of a column that are read in one go.
_PIECE = 1 << 20


def _read_column(stored: zipfile.ZipFile, name: str) -> IntColumn:
    """Return one array of the file, read piece by piece: a long one does not stay in memory."""
    with stored.open(name) as file:
        version = np.lib.format.read_magic(file)
        if version != (1, 0):
            raise ValueError("a column must have a header of version 1.0")
        shape, _, kind = np.lib.format.read_array_header_1_0(file)
        if len(shape) != 1 or kind.hasobject:
            raise ValueError("a column must be a row of numbers")
        column = Column(kind.str)
        while piece := file.read(_PIECE // kind.itemsize * kind.itemsize):
            column.extend(np.frombuffer(piece, dtype=kind))
    if len(column) != shape[0]:
        raise ValueError("a column must be as long as its header says")
    return column.array()


def _seen(stored: dict[str, Any]) -> Seen:
    """Return what an attachment understood, as it was before JSON made lists of its parts."""
    frames = stored["frames"]
    return Seen(
        **stored
        | {
            "rows": tuple((what, how) for what, how in stored["rows"]),
            "characters": tuple(Character(**one) for one in stored["characters"]),
            "frames": None
            if frames is None
            else tuple(Frame(**one | {"colours": tuple(one["colours"])}) for one in frames),
        }
    )


def _verdicts(facts: dict[str, Any]) -> tuple[Verdict, ...]:
    if facts["version"] < 3:
        return tuple(Verdict(one["what"], one["held"], one["seen"]) for one in facts["musts"])
    return tuple(Verdict(**verdict) for verdict in facts["expectations"])


def _from_arrays(arrays: Mapping[str, IntColumn], facts: dict[str, Any]) -> Recording:
    if facts["version"] < 3:
        facts["files"] = ()
        arrays = {**arrays, "access/file": np.full(len(arrays["access/start"]), -1, "i2")}
    plain = {key: facts[key] for key in _PLAIN}
    plain["marks"] = tuple((row, text) for row, text in plain["marks"])
    plain["resets"] = tuple((row, length) for row, length in plain["resets"])
    plain["notes"], plain["files"] = tuple(plain["notes"]), tuple(plain["files"])
    return Recording(
        accesses=Accesses({name: arrays[f"access/{name}"] for name in COLUMNS}),
        slots=tuple(SlotInfo(**slot | {"sends": tuple(slot["sends"])}) for slot in facts["slots"]),
        lines={
            pin: Line(
                direction,
                *(arrays[f"pin/{pin}/{name}"] for name in ("cycles", "levels", "accesses")),
            )
            for pin, direction in facts["directions"].items()
        },
        characters={
            name: Text(*(arrays[f"text/{name}/{key}"] for key in ("cycles", "bytes", "accesses")))
            for name in facts["texts"]
        },
        events=tuple(Event(*event) for event in facts["events"]),
        findings=tuple(Finding(**finding) for finding in facts["findings"]),
        verdicts=_verdicts(facts),
        seen={name: _seen(one) for name, one in facts.get("seen", {}).items()},
        **plain,
    )
