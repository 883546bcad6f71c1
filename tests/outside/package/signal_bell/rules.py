"""A rule: no stroke may be struck without a pause."""

from collections.abc import Iterator

from busbox.findings import RunFacts, Sighting


def stroke_in_haste(facts: RunFacts) -> Iterator[Sighting]:
    """Two strokes were struck without a pause between them.

    Why it matters: the bell does not hear the second one.

    What to do
    ----------
    Wait before the second write.
    """
    ends = facts.recording.accesses.end.tolist()
    for access in range(1, len(ends)):
        if ends[access] - ends[access - 1] < 3:
            yield facts.sighting(access, _in_haste)


def _in_haste() -> tuple[str, str]:
    return "the stroke before it has just been struck.", "Wait before it."
