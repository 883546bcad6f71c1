"""What was run, and the verdict, in plain words."""

from __future__ import annotations

from collections.abc import Iterator

from busbox.basics.listing import counted
from busbox.basics.units import show_clock, show_time
from busbox.recording import Recording

_ENDS = {
    "done": "The run is done after {time}.",
    "until": "The run was stopped after {time}, as asked.",
    "hang": "The CPU hangs: the run was ended after {time}.",
    "settle": "The run was stopped after {time}, while a device was still busy.",
}
_TRAPPED = "A trap that nothing handles ended the program: the run ended after {time}."
_TRAFFIC = {
    "executed": "firmware, executed by a core",
    "decided": "steps that a function decided while it ran",
    "listed": "recorded or written steps",
}


def is_good(recording: Recording) -> bool:
    """Return whether nothing was found and all that is expected is met, in a run that did not hang."""
    met = all(verdict.met for verdict in recording.verdicts)
    ended = recording.ended in ("done", "until") and not recording.trapped
    return met and ended and not recording.counts


def verdict_lines(recording: Recording) -> Iterator[str]:
    """Yield the verdict, a sentence each: the end, findings, expectations, certainty."""
    time = show_time(recording.cycles, recording.clock_hz)
    end = _TRAPPED if recording.trapped else _ENDS[recording.ended]
    yield end.format(time=time)
    found = sum(recording.by_rule.values())
    if found:
        yield f"{counted(found, 'finding')} from {counted(len(recording.counts), 'rule')}."
    else:
        yield "No rule found anything wrong."
    if not len(recording.accesses):
        yield "The bus was not used: the traffic has no access."
    yield _expectations(recording)
    certain = recording.certain
    if certain is not None and not (certain.traffic == "listed" and not certain.compared):
        text = certain.text(recording.clock_hz)
        yield f"As a record of what the firmware does, the run is {text}."


def _expectations(recording: Recording) -> str:
    count = len(recording.verdicts)
    met = sum(verdict.met for verdict in recording.verdicts)
    if not count:
        return "The bench expects nothing in particular."
    if met == count:
        return (
            "The only expectation is met." if count == 1 else f"All {count:,} expectations are met."
        )
    return f"Not met: {count - met:,} of {counted(count, 'expectation')}."


def run_rows(recording: Recording) -> Iterator[tuple[str, str]]:
    """Yield (label, text) of what was run."""
    time = show_time(recording.cycles, recording.clock_hz)
    cycles = counted(recording.cycles, "cycle")
    yield "length", f"{time}: {cycles} at {show_clock(recording.clock_hz)}"
    yield "traffic", f"{recording.traffic}: {_TRAFFIC[recording.traffic_kind]}"
    if recording.core is not None:
        count = counted(recording.core.instructions, "instruction")
        yield "core", f"{recording.core.isa}, {count}"
        yield "ended", recording.core_end
    edges = sum(len(line.cycles) - 1 for line in recording.lines.values())
    accesses = counted(len(recording.accesses), "access", "accesses")
    yield "bus", f"{accesses}; {counted(edges, 'edge')} on the pins"
    yield "slots", ", ".join(f"{slot.name} ({slot.model})" for slot in recording.slots) or "none"
    yield "engine", recording.engine
    for note in recording.notes:
        yield "note", note
