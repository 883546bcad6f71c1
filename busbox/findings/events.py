"""What the rules about events of devices share."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import TYPE_CHECKING

from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import Event


def of_kind(
    facts: RunFacts,
    kinds: tuple[str, ...],
    describe: Callable[[Event], tuple[str, str]],
    register: str = "",
) -> Iterator[Sighting]:
    """Yield a sighting for each event of these kinds; ``register`` names it where no access does."""
    for event in facts.recording.events:
        if event.kind not in kinds:
            continue
        if event.access >= 0:
            yield facts.sighting(event.access, partial(describe, event), event.cycle)
        else:
            key = f"{event.device}.{register}"
            yield Sighting(event.cycle, -1, event.device, register, key, partial(describe, event))
