"""A recording: all facts of a run, and what judging found; it can be saved and loaded again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, astuple, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import InputError, format_value
from busbox.basics.units import show_clock, show_time
from busbox.plugins import as_html, as_svg
from busbox.recording.accesses import COLUMNS, Accesses, IntColumn
from busbox.recording.carried import CarriedBench
from busbox.recording.complete import check
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
from busbox.recording.store import read, write
from busbox.recording.tables import table


@dataclass(frozen=True)
class Recording:
    """All facts of a run and, once it has been judged, what follows from them.

    Two recordings are equal if every fact is: what was run, on which engine, each column, and what was
    judged. :meth:`table` gives accesses, edges, characters, frames, marks and findings as structured
    arrays, for NumPy and for libraries of data frames.

    Attributes
    ----------
    bench, engine, traffic : names
    clock_hz : hertz
    cycles : last cycle + 1
    ended : ``done``, ``until``, ``hang`` or ``settle``
    traffic_kind : ``executed`` by a core; ``decided`` while it runs, by a function or a source that
        sees the words of the devices; ``listed``, steps that were known before the run
    accesses : see :class:`Accesses`
    slots : in the order of the bench
    lines : pin name such as ``lamps.line`` to its history
    characters : slot name to the bytes it sent
    events : in order of cycle
    registers : slot name to register name to value, as in the last cycle
    marks : (cycle, text)
    resets : (first cycle, number of cycles) of every reset that was reached
    run_notes : what a reader should know about the run, one sentence each
    polls_given_up, awaits_given_up : those that reached their limit, in order of cycle
    handler_storm : the handlers that ran back to back, if the run ended because of them
    breaches : rules of the bus that ports broke
    undefined_seen : where undefined bits of hardware reach the bus or a pin, in order of cycle
    files : source files of steps other than the traffic file, such as a driver's library
    quiet_since : the cycle since which nothing changed while an access hung, if no input was due
    core : the core that executed firmware, or None
    stopped_on : what stopped the run, or None
    carried : the bench, with its files; None if it was left out
    seen : what each attachment decoded, by name
    core_end : how the program of a core has ended, and where; "" without a core
    supply_note : what all lamps together draw, "" if the bench gives no supply
    lamp_notes : where the numbers of lamps in a string, sent and built are not equal
    findings : at most 1,000 per rule
    certain : until when the run is what the firmware would do; None before it is judged
    counts : rule to ``slot.REGISTER`` to how many
    verdicts : each expectation of the bench, whether it was met, and what was seen
    failures : what code that does not come with Busbox failed at while it judged, one message each;
        what it did not find or decode is missing in the rest
    """

    bench: str
    engine: str
    traffic: str
    clock_hz: int
    cycles: int
    ended: str
    traffic_kind: str
    accesses: Accesses
    slots: tuple[SlotInfo, ...]
    lines: Mapping[str, Line]
    characters: Mapping[str, Text]
    events: tuple[Event, ...]
    registers: Mapping[str, Mapping[str, int]]
    marks: tuple[tuple[int, str], ...] = ()
    resets: tuple[tuple[int, int], ...] = ()
    run_notes: tuple[str, ...] = ()
    polls_given_up: tuple[PollGivenUp, ...] = ()
    awaits_given_up: tuple[AwaitGivenUp, ...] = ()
    handler_storm: HandlerStorm | None = None
    breaches: tuple[PortBreach, ...] = ()
    undefined_seen: tuple[UndefinedSeen, ...] = ()
    files: tuple[str, ...] = ()
    quiet_since: int | None = None
    core: CoreFacts | None = None
    stopped_on: StopPoint | None = None
    carried: CarriedBench | None = None
    # What follows from the facts: filled in by judging.
    seen: Mapping[str, LineReading] = field(default_factory=dict)
    supply_note: str = ""
    core_end: str = ""
    lamp_notes: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    certain: Certainty | None = None
    counts: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    verdicts: tuple[Verdict, ...] = ()
    failures: tuple[str, ...] = ()

    def __repr__(self) -> str:
        findings = sum(self.by_rule.values())
        return (
            f"<Recording of {self.bench}: {self.ended} after {_count(self.cycles, 'cycle')} "
            f"({show_time(self.cycles, self.clock_hz)} at {show_clock(self.clock_hz)}), "
            f"engine {self.engine}; {_count(len(self.accesses), 'access', 'accesses')}, "
            f"{_count(findings, 'finding')}>"
        )

    def _repr_html_(self) -> str:
        return as_html(self)

    def _repr_svg_(self) -> str | None:
        return as_svg(self)

    def table(self, name: str, of: str | None = None) -> NDArray[Any]:
        """Return a table as a new structured array: changing it changes no recording.

        Parameters
        ----------
        name : ``accesses``, ``edges``, ``characters``, ``frames``, ``marks`` or ``findings``; columns,
            types and units are in :data:`busbox.recording.tables.TABLES`
        of : only the rows of this pin (``edges``) or of this slot (``characters``, ``frames``)

        Raises
        ------
        KeyError : there is no such table, pin or slot

        Examples
        --------
        A library of data frames takes the array directly, such as
        ``pandas.DataFrame(recording.table("edges"))``.
        """
        parts = {
            "accesses": self.accesses,
            "edges": self.lines,
            "characters": self.characters,
            "frames": self.frames,
            "marks": self.marks,
            "findings": [astuple(finding) for finding in self.findings],
        }
        return table(name, of, parts)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a reader should know: of the run, of the lamps, what failed, why it was stopped."""
        notes = [*self.run_notes, self.supply_note, *self.lamp_notes]
        notes += [f"Judged without a part that failed: {one}" for one in self.failures]
        if self.stopped_on is not None:
            stop, when = self.stopped_on, show_time(self.stopped_on.cycle, self.clock_hz)
            notes.append(f"Stopped on {stop.word} in cycle {stop.cycle:,} ({when}): {stop.text}")
        return tuple(note for note in notes if note)

    def edges(self, pin: str) -> tuple[IntColumn, IntColumn]:
        """Return (cycles, levels) of a pin such as ``"lamps.line"``; the first is cycle 0.

        Raises
        ------
        KeyError : there is no such pin
        """
        if pin not in self.lines:
            raise KeyError(
                f"there is no pin {format_value(pin)}; the pins are {', '.join(self.lines)}"
            )
        line = self.lines[pin]
        return line.cycles, line.levels

    @property
    def trapped(self) -> bool:
        """Whether a trap that nothing handles ended the program of the core."""
        return self.ended == "done" and self.core is not None and self.core.ended == "trap"

    @property
    def by_rule(self) -> dict[str, int]:
        """Rule to the number of its findings."""
        return {rule: sum(of_rule.values()) for rule, of_rule in self.counts.items()}

    @property
    def texts(self) -> dict[str, str]:
        """Slot name to what it sent as text, one character a byte (Latin-1)."""
        return {name: text.text for name, text in self.characters.items()}

    @property
    def frames(self) -> dict[str, list[Frame]]:
        """Slot name to the frames that the device intended to send."""
        found: dict[str, list[Frame]] = {
            slot.name: [] for slot in self.slots if "frames" in slot.sends
        }
        for event in self.events:
            if "colours" in event.details:
                frame = Frame(event.cycle, event.access, tuple(event.details["colours"]))
                found.setdefault(event.device, []).append(frame)
        return found

    def light_of(self, slot: str) -> str:
        """Return how the values of a slot's lamps become light: ``srgb`` if the bench says so of a
        string at its pins, else ``linear``.
        """
        strings = (one for one in self.seen.values() if one.pin.partition(".")[0] == slot)
        return next((one.facts["light"] for one in strings if "light" in one.facts), "linear")

    def place_of(self, access: int) -> str:
        """Return file and line of an access's step, such as ``evening.steps:5``; "" if not known."""
        line, file = int(self.accesses.line[access]), int(self.accesses.file[access])
        if line < 0:
            return ""
        return f"{self.traffic if file < 0 else self.files[file]}:{line}"

    def save(self, path: str | Path) -> None:
        """Save to one file; an existing file is replaced atomically.

        Raises
        ------
        InputError : the name does not end in .recording.npz, or the file cannot be written
        """
        write(path, _arrays(self), _facts(self))

    @classmethod
    def load(cls, path: str | Path) -> Recording:
        """Return the recording in a file.

        Raises
        ------
        InputError : the file cannot be read, is not a recording, or is of another version
        """
        path = Path(path)
        arrays, facts = read(path)
        try:
            recording = cls(**_columns(arrays, facts), **_plain(facts), **_parts(facts, arrays))
            check(recording, _parts_of(recording))
        except (KeyError, TypeError, ValueError, AttributeError):
            raise InputError.of("is an incomplete recording", str(path)) from None
        stray = None if recording.carried is None else recording.carried.stray_name()
        if stray is not None:
            raise InputError.of(
                f"contains a file whose name leads out of its folder, {stray!r}", str(path)
            )
        return recording


def _count(number: int, singular: str, plural: str = "") -> str:
    return f"{number:,} {singular if number == 1 else plural or singular + 's'}"


_PLAIN = (
    "bench", "engine", "traffic", "clock_hz", "cycles", "ended", "traffic_kind", "registers",
    "quiet_since", "core_end", "supply_note", "counts",
)  # fmt: skip
#: Fields that hold several of one class, or one of it or None.
_SEVERAL: Mapping[str, Any] = {
    "polls_given_up": PollGivenUp,
    "awaits_given_up": AwaitGivenUp,
    "breaches": PortBreach,
    "undefined_seen": UndefinedSeen,
    "findings": Finding,
    "verdicts": Verdict,
}
_ONE: Mapping[str, Any] = {
    "handler_storm": HandlerStorm,
    "core": CoreFacts,
    "stopped_on": StopPoint,
    "certain": Certainty,
}


# To columns and JSON.


def _arrays(recording: Recording) -> dict[str, IntColumn]:
    arrays = {f"access/{name}": recording.accesses[name] for name in COLUMNS}
    for pin, line in recording.lines.items():
        arrays |= _packed(f"pin/{pin}", line, ("cycles", "levels", "accesses"))
    for name, text in recording.characters.items():
        arrays |= _packed(f"text/{name}", text, ("cycles", "bytes", "accesses"))
    if recording.carried is not None:
        for name, contents in recording.carried.files.items():
            arrays[f"file/{name}"] = np.frombuffer(contents, dtype="u1")
    return arrays


def _packed(stem: str, columns: object, names: tuple[str, ...]) -> dict[str, IntColumn]:
    return {f"{stem}/{name}": getattr(columns, name) for name in names}


def _facts(recording: Recording) -> dict[str, Any]:
    one = {name: getattr(recording, name) for name in _ONE}
    several = {name: getattr(recording, name) for name in _SEVERAL}
    carried = recording.carried
    return {
        **{key: getattr(recording, key) for key in _PLAIN},
        **{key: None if value is None else asdict(value) for key, value in one.items()},
        **{key: [asdict(value) for value in values] for key, values in several.items()},
        "marks": recording.marks,
        "resets": recording.resets,
        "run_notes": recording.run_notes,
        "lamp_notes": recording.lamp_notes,
        "failures": recording.failures,
        "files": recording.files,
        "slots": [asdict(slot) for slot in recording.slots],
        "directions": {pin: line.direction for pin, line in recording.lines.items()},
        "texts": list(recording.characters),
        "events": [
            [e.cycle, e.device, e.kind, e.access, dict(e.details)] for e in recording.events
        ],
        "seen": {name: asdict(one) for name, one in recording.seen.items()},
        "carried": None if carried is None else carried.facts(),
    }


# And back.


def _columns(arrays: Mapping[str, IntColumn], facts: Mapping[str, Any]) -> dict[str, Any]:
    def of(stem: str, *names: str) -> list[IntColumn]:
        return [arrays[f"{stem}/{name}"] for name in names]

    return {
        "accesses": Accesses({name: arrays[f"access/{name}"] for name in COLUMNS}),
        "lines": {
            pin: Line(direction, *of(f"pin/{pin}", "cycles", "levels", "accesses"))
            for pin, direction in facts["directions"].items()
        },
        "characters": {
            name: Text(*of(f"text/{name}", "cycles", "bytes", "accesses"))
            for name in facts["texts"]
        },
    }


def _plain(facts: Mapping[str, Any]) -> dict[str, Any]:
    return {
        **{key: facts[key] for key in _PLAIN},
        "marks": tuple((cycle, text) for cycle, text in facts["marks"]),
        "resets": tuple((cycle, length) for cycle, length in facts["resets"]),
        "run_notes": tuple(facts["run_notes"]),
        "lamp_notes": tuple(facts.get("lamp_notes", ())),  # judged: older files lack it
        "failures": tuple(facts.get("failures", ())),
        "files": tuple(facts["files"]),
    }


def _parts(facts: Mapping[str, Any], arrays: Mapping[str, IntColumn]) -> dict[str, Any]:
    return {
        **{key: None if facts[key] is None else kind(**facts[key]) for key, kind in _ONE.items()},
        **{key: tuple(kind(**one) for one in facts[key]) for key, kind in _SEVERAL.items()},
        "slots": tuple(SlotInfo(**one | {"sends": tuple(one["sends"])}) for one in facts["slots"]),
        "events": tuple(Event(*event) for event in facts["events"]),
        "seen": {name: _seen(one) for name, one in facts["seen"].items()},
        "carried": None if facts["carried"] is None else _carried(facts["carried"], arrays),
    }


def _seen(stored: dict[str, Any]) -> LineReading:
    """Return what an attachment decoded, with tuples where JSON has lists."""
    frames = stored["frames"]
    return LineReading(
        **stored
        | {
            "rows": tuple((what, how) for what, how in stored["rows"]),
            "characters": tuple(Character(**one) for one in stored["characters"]),
            "frames": None
            if frames is None
            else tuple(Frame(**one | {"colours": tuple(one["colours"])}) for one in frames),
        }
    )


def _carried(stored: dict[str, Any], arrays: Mapping[str, IntColumn]) -> CarriedBench:
    files = {name: arrays[f"file/{name}"].tobytes() for name in stored["files"]}
    return CarriedBench(**stored | {"files": files})


def _parts_of(recording: Recording) -> list[Any]:
    """Return a recording and each part of it whose fields have types."""
    parts = [recording, *recording.slots, *recording.events, *recording.seen.values()]
    parts += [one for name in _SEVERAL for one in getattr(recording, name)]
    parts += [one for name in (*_ONE, "carried") if (one := getattr(recording, name)) is not None]
    return parts
