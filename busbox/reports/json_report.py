"""The result of a run as one JSON object, for programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from busbox.engines import ERR, WATCHDOG
from busbox.recording import Recording


def as_object(recording: Recording) -> dict[str, Any]:
    """Return the object that ``busbox run --json`` prints.

    Counts are whole numbers, cycles as on the semantics page; ``wait_cycles`` is the sum of e - s,
    ``edges`` the changes after cycle 0, colours are ``RRGGBB``; a name that there is not is null.
    """
    accesses = recording.accesses
    return {
        "bench": recording.bench,
        "engine": recording.engine,
        "clock_hz": recording.clock_hz,
        "cycles": recording.cycles,
        "accesses": len(accesses),
        "errors": int(np.isin(accesses.terminator, (ERR, WATCHDOG)).sum()),
        "slots": {slot.name: _slot(recording, n) for n, slot in enumerate(recording.slots)},
        "texts": recording.texts,
        "pins": {
            pin: {"edges": len(line.cycles) - 1, "level": int(line.levels[-1])}
            for pin, line in recording.lines.items()
        },
        "events": [
            {"cycle": e.cycle, "device": e.device, "kind": e.kind, "access": e.access}
            for e in recording.events
        ],
        "frames": {
            slot: [
                {
                    "cycle": frame.cycle,
                    "access": frame.access,
                    "colours": [f"{colour:06X}" for colour in frame.colours],
                }
                for frame in frames
            ]
            for slot, frames in recording.frames.items()
        },
        "findings": [
            {
                "rule": finding.rule,
                "cycle": finding.cycle,
                "access": finding.access if finding.access >= 0 else None,
                "slot": finding.slot or None,
                "register": finding.register or None,
                "message": finding.message,
                "hint": finding.hint,
            }
            for finding in recording.findings
        ],
        "counts": recording.counts,
        "must": [asdict(held) for held in recording.musts],
        "ended": recording.ended,
    }


def _slot(recording: Recording, number: int) -> dict[str, Any]:
    accesses = recording.accesses
    mine = accesses.slot == number
    writes = int((mine & accesses.write).sum())
    return {
        "model": recording.slots[number].model,
        "reads": int(mine.sum()) - writes,
        "writes": writes,
        "wait_cycles": int((accesses.end - accesses.start)[mine].sum()),
    }
