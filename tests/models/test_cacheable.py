"""What a model says of a word that stays (contract of a model, 10) is true.

A model is stepped through the contract with a host of the test's own. After a read of which it says
that the word stays, copies of it, left alone, are read in later cycles.
"""

from __future__ import annotations

import copy
import random

import pytest

from busbox.device import BusAccess, LiveDevice
from tests.models.test_next_edge import STEPPED, _built, _Host

#: Cycles that are looked at where a word stays for good, or for long.
AHEAD = 150
CALLS = 250


class _Listening(_Host):
    """Keeps what is said of the read that is being answered."""

    said: tuple[int | None] | None = None

    def cacheable_until(self, until: int | None) -> None:
        """Keep it."""
        self.said = (until,)


def read(device: LiveDevice, host: _Listening, cycle: int, offset: int) -> object:
    """Read a word."""
    host.said = None
    return device.access(BusAccess(cycle, offset, False, 0, 0xF, 0))


def lasts(device: LiveDevice, host: _Listening, cycle: int, offset: int, word: object) -> int:
    """Read copies of the device in the cycles for which the word stays; return how many."""
    assert host.said is not None
    until = cycle + AHEAD if host.said[0] is None else host.said[0]
    cycles = range(cycle + 1, min(until, cycle + AHEAD))
    chosen = {*cycles[:12], *cycles[-4:], *cycles[::17]}
    for later in chosen:
        alone, left = copy.deepcopy((device, host))
        assert read(alone, left, later, offset) == word, (
            f"offset {offset:#x}, cycle {later} of {cycles}"
        )
    return len(chosen)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("name", STEPPED)
def test_a_word_stays_for_as_long_as_the_model_says(name: str, seed: int) -> None:
    """A read in any cycle before ``until`` shows the same word, if nothing else comes."""
    device, plain = _built(name)
    host = _Listening(plain.first)
    device.host = host  # type: ignore[attr-defined]
    for part in vars(device).values():  # a sender keeps the host too
        if hasattr(part, "host"):
            part.host = host
    dice, cycle, looked = random.Random(seed), 0, 0
    said = set()
    for _ in range(CALLS):
        cycle += dice.choice([1, 1, 2, 3, 5, 8, 21])
        if dice.random() < 0.5:
            offset = dice.choice(STEPPED[name].reads)
            word = read(device, host, cycle, offset)
            if host.said is not None:
                said.add(offset)
                looked += lasts(device, host, cycle, offset, word)
            continue
        target, value = STEPPED[name].act(dice, cycle)
        if isinstance(target, str):
            device.input(cycle, target, value)
        else:
            device.access(BusAccess(cycle, target, True, value, 0xF, 0))
    assert said == STEPPED[name].cacheable
    assert looked > 100
