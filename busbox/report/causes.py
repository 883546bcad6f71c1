"""What the page needs to tell causes, beyond the columns of the recording."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from busbox.basics.errors import InputError
from busbox.basics.phrases import GAP, Phrases
from busbox.explain.callers import Caller
from busbox.explain.origins import Story
from busbox.explain.why import Stories
from busbox.recording import Recording
from busbox.report.packing import Array, Columns
from busbox.system.system import System

#: Between the reasons of one edge, and between the parts of one: they stand in no text of a run.
NEXT, PART = "\x1e", "\x1f"
_OF_FINDINGS = ("rule", "cycle", "access", "slot", "register", "message", "doubtful")


def causes(
    system: System, recording: Recording, stories: Stories, columns: Columns
) -> dict[str, Any]:
    """Return the facts behind causes, and add their columns.

    Returns
    -------
    pins : pin to ``wire`` (attachment to sentences, one an edge) and ``because`` (sentences, one an
        edge: what, register and access of each reason)
    stacks, stack : the different stacks (kind and text of each frame, innermost first), and the
        column that gives each access the number of its stack
    called : why the stacks are not known, "" if they are
    sources : pc to function and source line
    findings : where each finding is, what it says, and its whole story
    """
    stacks, called = _stacks(recording, stories, columns)
    return {
        "pins": {
            pin: _of_pin(pin, recording, stories, columns)
            for pin, line in recording.lines.items()
            if len(line.cycles) > 1 or stories.decoders(pin)
        },
        "stacks": stacks,
        "called": called,
        "sources": _sources(recording, stories),
        "findings": [
            {
                **{name: getattr(finding, name) for name in _OF_FINDINGS},
                "story": story_facts(stories.tell(f"finding.{number}")),
            }
            for number, finding in enumerate(recording.findings)
        ],
    }


def story_facts(story: Story) -> dict[str, Any]:
    """Return a story as the page shows it."""
    parts = [[part.label, part.text, part.place, part.access] for part in story.parts]
    return {"title": story.title, "cycle": story.cycle, "parts": parts}


def _of_pin(
    pin: str, recording: Recording, stories: Stories, columns: Columns
) -> Mapping[str, Any]:
    cycles = recording.lines[pin].cycles
    seen = stories.seen_on_all(pin, cycles)
    because = _because(pin, recording, stories)
    return {
        "wire": {
            name: columns.add_phrases(f"wire/{pin}/{name}", one) for name, one in seen.items()
        },
        "because": columns.add_phrases(f"because/{pin}", because),
    }


def _because(pin: str, recording: Recording, stories: Stories) -> Phrases:
    """Return what the edges of a pin depend on: those that an access or the device itself made."""
    line = recording.lines[pin]
    cycles, accesses = np.asarray(line.cycles), np.asarray(line.accesses)
    by_reset = np.isin(cycles, [0, *(first + 1 for first, _ in recording.resets)])
    made = np.flatnonzero((accesses >= 0) | ~by_reset)
    if line.direction == "input":
        made = made[:0]
    reasons = [
        Phrases.joined([one.what, one.register, _numbered(one.what, one.accesses)], PART)
        for one in stories.all_reasons(pin, cycles[made], accesses[made])
    ]
    return (Phrases.joined(reasons, NEXT) if reasons else Phrases.of("" for _ in made)).placed(
        made, len(cycles)
    )


def _numbered(beside: Phrases, numbers: Array) -> Phrases:
    """Return numbers as texts, "" where there is no text beside."""
    empty = np.array([not form for form in beside.forms], dtype=bool)
    which = empty[beside.which].astype("i8") if len(beside) else beside.which
    return Phrases.filled((GAP, ""), which, numbers)


def _stacks(
    recording: Recording, stories: Stories, columns: Columns
) -> tuple[list[list[list[str]]], str]:
    """Return the different stacks of all accesses, and why they are not known."""
    found: dict[tuple[Caller, ...], int] = {(): 0}
    numbers = np.zeros(len(recording.accesses), dtype="i4")
    problem = ""
    if stories.callers is not None:
        try:
            for access in range(len(numbers)):
                stack = tuple(stories.callers.of_access(access))
                numbers[access] = found.setdefault(stack, len(found))
        except InputError as error:
            problem = str(error)
            numbers[:], found = 0, {(): 0}
    columns.add("stack", numbers)
    return [
        [[caller.how, part.text] for caller, part in zip(stack, stories.called(stack), strict=True)]
        for stack in found
    ], problem


def _sources(recording: Recording, stories: Stories) -> dict[str, dict[str, Any]]:
    """Return what is known of each recorded instruction: text, function, file and line."""
    found = {}
    for pc in np.unique(recording.accesses.pc).tolist():
        if pc >= 0:
            facts: dict[str, Any] = {}
            words = list(stories.source_of(pc, facts))
            place = f"{facts['file']}:{facts['source_line']}" if facts else ""
            found[str(pc)] = {
                "words": words,
                "function": facts.get("function", ""),
                "place": place,
            }
    return found
