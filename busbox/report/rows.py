"""The rows of the timetable, and the columns of events behind them.

A row is a table with an ``id``, a ``label`` and a ``kind``:

``register``    ``places``: numbers of the places whose accesses it shows (column ``place``)
``pin``         ``pin``: its name
``bytes``       ``bytes``: the number of a line of bytes
``frames``      ``frames``: the number of a line of frames
``events``      ``device`` and ``events``: numbers of the kinds of event that it shows
``functions``   the function of the instruction that made each access: from the first access in a row to
                the last, as only accesses have a recorded instruction
``handlers``    the interrupt handlers, from their first access to their last
``marks``, ``resets``, ``findings``

Columns, each with one number for each thing of its kind:

* accesses: ``start``, ``end``, ``place``, ``write``, ``lanes``, ``data``, ``terminator``, ``line``,
  ``pc``, ``expected``, ``file``, ``stack``, ``handler``, as in the recording; ``place`` is the
  number of a different address, ``handler`` that of a handler, or -1;
* edges: ``edge/PIN/cycles``, ``.../levels``, ``.../accesses``;
* bytes: ``bytes/N/cycles``, ``.../values``, ``.../accesses``;
* frames: ``frames/N/cycles``, ``.../accesses``, ``.../sizes`` (lamps of each), ``.../colours`` (of
all);
* events: ``event/cycles``, ``event/devices``, ``event/kinds``, ``event/accesses``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from busbox.cpu.source import Routine
from busbox.device import RELEASED
from busbox.recording import Frame, Recording
from busbox.report.packing import Array, Columns
from busbox.system.system import System

#: Columns of accesses that go to the page as they are, and whether as differences.
_ACCESSES = {
    "start": True, "write": False, "lanes": False, "data": False, "terminator": False, "line": True,
    "pc": True, "expected": False, "file": False,
}  # fmt: skip

Row = dict[str, Any]


class Rows:
    """All rows of a run, in groups, with their columns.

    Attributes
    ----------
    groups : each with ``name``, ``title`` and ``rows``
    places : each different address: ``address`` and ``name``, as ``busbox why`` writes them
    bytes, frames : what the lines of bytes and of frames are: ``label``, ``slot``, ``shown``,
        frames also ``light``
    kinds, devices : the kinds of events, and the devices that reported them
    """

    def __init__(self, system: System, recording: Recording, columns: Columns) -> None:
        self._recording, self._columns, self._system = recording, columns, system
        self.bytes: list[Row] = []
        self.frames: list[Row] = []
        self.places: list[Row] = []
        self.handlers: list[str] = []
        self._registers: dict[str, dict[str, list[int]]] = {}
        self._accesses()
        self._edges()
        self.kinds = sorted({event.kind for event in recording.events})
        self.devices = sorted({event.device for event in recording.events})
        self._events()
        self.groups = list(self._groups())

    # Columns.

    def _accesses(self) -> None:
        accesses, columns = self._recording.accesses, self._columns
        for name, delta in _ACCESSES.items():
            columns.add(name, accesses[name], delta=delta)
        columns.add("length", accesses.end - accesses.start)
        addresses, numbers = np.unique(accesses.address, return_inverse=True)
        columns.add("place", numbers)
        for number, address in enumerate(addresses.tolist()):
            decoded = self._system.address_map.decode(address)
            name = decoded.register if decoded.slot else "no slot"
            self.places.append({"address": address, "name": name})
            slot = decoded.slot.name if decoded.slot else ""
            rows = self._registers.setdefault(slot, {})
            rows.setdefault(_family(name) if decoded.place else name, []).append(number)
        self._handlers()

    def _handlers(self) -> None:
        """Add which handler each access belongs to: routines of listed traffic number their steps."""
        listed = self._recording.traffic_kind == "listed"
        routines = _routines(self._system) if listed else []
        numbers = np.full(len(self._recording.accesses), -1)
        for number, routine in enumerate(routines):
            numbers[self._recording.accesses.step >= routine.first] = number
        self.handlers = [routine.name for routine in routines]
        self._columns.add("handler", numbers)

    def _edges(self) -> None:
        for pin, line in self._recording.lines.items():
            self._columns.add(f"edge/{pin}/cycles", line.cycles, delta=True)
            self._columns.add(f"edge/{pin}/levels", line.levels)
            self._columns.add(f"edge/{pin}/accesses", line.accesses, delta=True)

    def _events(self) -> None:
        events = self._recording.events
        self._columns.add("event/cycles", [one.cycle for one in events], delta=True)
        self._columns.add("event/devices", [self.devices.index(one.device) for one in events])
        self._columns.add("event/kinds", [self.kinds.index(one.kind) for one in events])
        self._columns.add("event/accesses", [one.access for one in events], delta=True)

    def _put_bytes(self, label: str, slot: str, shown: bool, rows: Sequence[Array]) -> Row:
        number = len(self.bytes)
        self.bytes.append({"label": label, "slot": slot, "shown": shown})
        for name, values in zip(("cycles", "values", "accesses"), rows, strict=True):
            self._columns.add(f"bytes/{number}/{name}", values, delta=name != "values")
        return {"id": f"bytes:{label}", "label": label, "kind": "bytes", "bytes": number}

    def _put_frames(self, label: str, slot: str, shown: bool, frames: Sequence[Frame]) -> Row:
        number = len(self.frames)
        light = self._recording.light_of(slot)
        self.frames.append({"label": label, "slot": slot, "shown": shown, "light": light})
        add = self._columns.add
        add(f"frames/{number}/cycles", [one.cycle for one in frames], delta=True)
        add(f"frames/{number}/accesses", [one.access for one in frames], delta=True)
        add(f"frames/{number}/sizes", [len(one.colours) for one in frames])
        add(f"frames/{number}/colours", [colour for one in frames for colour in one.colours])
        return {"id": f"frames:{label}", "label": label, "kind": "frames", "frames": number}

    # Rows.

    def _groups(self) -> Iterator[Row]:
        yield {"name": "", "title": "run", "rows": list(self._of_run())}
        for slot in self._recording.slots:
            rows = list(self._of_slot(slot.name))
            if rows:
                yield {"name": slot.name, "title": slot.name, "model": slot.model, "rows": rows}
        if "" in self._registers:
            rows = [self._register("no slot", self._registers[""]["no slot"])]
            yield {"name": "no slot", "title": "no slot", "rows": rows}

    def _of_run(self) -> Iterator[Row]:
        recording = self._recording
        for kind, there in (
            ("findings", recording.findings),
            ("marks", recording.marks),
            ("resets", recording.resets),
            ("functions", (recording.accesses.pc >= 0).any() and self._system.firmware),
            ("handlers", self.handlers or self._system.core is not None),
        ):
            if there:
                yield {"id": kind, "label": kind, "kind": kind}

    def _of_slot(self, name: str) -> Iterator[Row]:
        for register, places in self._registers.get(name, {}).items():
            yield self._register(register, places)
        for pin, line in self._recording.lines.items():
            slot = pin.partition(".")[0]
            if slot == name and (len(line.cycles) > 1 or line.levels[0] == 1):
                yield {"id": f"pin:{pin}", "label": pin, "kind": "pin", "pin": pin}
        yield from self._sent(name)
        yield from self._shown(name)
        kinds = sorted({e.kind for e in self._recording.events if e.device == name} - {"frame"})
        if kinds:
            yield {
                "id": f"events:{name}",
                "label": f"{name}: {', '.join(kinds)}",
                "kind": "events",
                "device": self.devices.index(name),
                "events": [self.kinds.index(kind) for kind in kinds],
            }

    def _sent(self, name: str) -> Iterator[Row]:
        text = self._recording.characters.get(name)
        if text is not None and len(text.cycles):
            columns = (text.cycles, text.bytes, text.accesses)
            yield self._put_bytes(f"{name} sent", name, False, columns)
        frames = self._recording.frames.get(name)
        if frames:
            yield self._put_frames(f"{name} sent", name, False, frames)

    def _shown(self, slot: str) -> Iterator[Row]:
        """Yield what attachments at the pins of a slot understood."""
        for name, seen in self._recording.seen.items():
            if seen.pin.partition(".")[0] != slot:
                continue
            if seen.characters:
                rows = [(one.cycle, one.value, one.access) for one in seen.characters]
                columns = list(np.array(rows, dtype="i8").T)
                yield self._put_bytes(f"{name} read", slot, True, columns)
            if seen.frames:
                yield self._put_frames(f"{name} showed", slot, True, seen.frames)

    def _register(self, label: str, places: Sequence[int]) -> Row:
        return {"id": f"reg:{label}", "label": label, "kind": "register", "places": list(places)}


def _family(name: str) -> str:
    """Return a register's name; of several alike, without number: ``lamps.COLOUR`` of COLOUR.3."""
    return re.sub(r"\.\d+$", "", name)


def _routines(system: System) -> list[Routine]:
    """Return the handlers whose steps have numbers of their own, in order of those."""
    numbered = [one for one in system.new_source().handlers if one.first is not None]
    return sorted(numbered, key=lambda one: one.first or 0)


def still_pins(recording: Recording) -> list[str]:
    """Return the pins that have no row: those that stayed low or released."""
    return [
        pin
        for pin, line in recording.lines.items()
        if len(line.cycles) == 1 and int(line.levels[0]) in (0, RELEASED)
    ]


def facts_of(rows: Rows) -> Mapping[str, Any]:
    """Return what the page needs to know of the rows."""
    return {
        "groups": rows.groups,
        "places": rows.places,
        "bytes": rows.bytes,
        "frames": rows.frames,
        "kinds": rows.kinds,
        "devices": rows.devices,
        "handlers": rows.handlers,
        "still": still_pins(rows._recording),
    }
