"""The result of a run as one JSON object, for programs."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

from busbox.exports.contract import Result, Target
from busbox.exports.usage import Use, usage
from busbox.recording import (
    Certainty,
    CoreFacts,
    Finding,
    Frame,
    LineReading,
    Recording,
    SlotInfo,
    StopPoint,
)


def write(result: Result, target: Target) -> None:
    """The result of a run as one JSON object, for programs."""
    found = as_object(result.recording) | dict(result.extras)
    target.text.write(json.dumps(found, indent=2) + "\n")


def as_object(recording: Recording) -> dict[str, Any]:
    """Return the object that ``busbox run --json`` prints.

    Counts are whole numbers, cycles as on the semantics page; ``wait_cycles`` is the sum of e - s,
    ``edges`` the changes after cycle 0, colours are ``RRGGBB``; what does not exist is null. What
    is attached to pins is under ``attached``, as its kind gives it (``busbox attachments``).
    """
    used = usage(recording)
    stop = recording.stopped_on
    return {
        "bench": recording.bench,
        "engine": recording.engine,
        "clock_hz": recording.clock_hz,
        "cycles": recording.cycles,
        "accesses": len(recording.accesses),
        "errors": used.errors,
        **({} if recording.core is None else {"core": _core(recording, recording.core)}),
        "slots": {
            slot.name: _slot(slot, use)
            for slot, use in zip(recording.slots, used.slots, strict=True)
        },
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
            slot: [_frame(frame) for frame in frames] for slot, frames in recording.frames.items()
        },
        "attached": {name: _seen(one) for name, one in recording.seen.items()},
        "certain": None if recording.certain is None else _certain(recording.certain),
        "findings": [_finding(*item) for item in enumerate(recording.findings)],
        "counts": recording.counts,
        "expectations": [asdict(verdict) for verdict in recording.verdicts],
        "ended": recording.ended,
        "notes": list(recording.notes),
        **({} if stop is None else {"stopped_on": _stop(stop)}),
    }


def _core(recording: Recording, core: CoreFacts) -> dict[str, Any]:
    """Return what a core executed, and how its program has ended."""
    trapped = core.ended == "trap"
    return {
        "isa": core.isa,
        "instructions": core.instructions,
        "clocks": dict(core.clocks),
        "ended": core.ended,
        "pc": core.pc,
        "cycle": core.cycle,
        "cause": core.cause if trapped else None,
        "value": core.value if trapped else None,
        "text": recording.core_end,
    }


def _slot(slot: SlotInfo, use: Use) -> dict[str, Any]:
    return {
        "model": slot.model,
        "ran_as": slot.ran_as,
        "reads": use.reads,
        "writes": use.writes,
        "wait_cycles": use.waited,
    }


def _frame(frame: Frame) -> dict[str, Any]:
    return {
        "cycle": frame.cycle,
        "access": frame.access,
        "colours": [f"{colour:06X}" for colour in frame.colours],
    }


def _seen(seen: LineReading) -> dict[str, Any]:
    """Return what an attachment understood, with cycle and access of each frame or character."""
    parts = seen.characters if seen.frames is None else seen.frames
    return {
        "kind": seen.kind,
        "pin": seen.pin,
        **seen.facts,
        "origins": [{"cycle": one.cycle, "access": one.access} for one in parts],
    }


def _finding(number: int, finding: Finding) -> dict[str, Any]:
    """Return a finding; ``busbox why`` takes ``finding.NUMBER``."""
    return {
        "number": number,
        "rule": finding.rule,
        "cycle": finding.cycle,
        "access": finding.access if finding.access >= 0 else None,
        "slot": finding.slot or None,
        "register": finding.register or None,
        "source": finding.source or None,
        "message": finding.message,
        "hint": finding.hint,
        "doubtful": finding.doubtful,
    }


def _certain(certain: Certainty) -> dict[str, Any]:
    """Return until when the run is certain; cycle and access are null if it is throughout."""
    return {
        "traffic": certain.traffic,
        "compared": certain.compared,
        "harmless": certain.vouched,
        "until_cycle": certain.cycle if certain.doubt else None,
        "access": certain.access if certain.doubt else None,
        "differs": certain.differs or None,
    }


def _stop(stop: StopPoint) -> dict[str, Any]:
    access = stop.access if stop.access >= 0 else None
    return {"what": stop.word, "cycle": stop.cycle, "access": access, "text": stop.text}
