"""What tests draw for timer."""

from __future__ import annotations

import random

from busbox.models.timer import Timer
from tests.models.drawing import Act, Drawn, Stepped


def _act(dice: random.Random, now: int) -> Act:
    offset = dice.choice([0x08, 0x08, 0x0C, 0x10])
    return offset, now + dice.randrange(20) if offset == 0x08 else dice.randrange(2)


DRAWN = Drawn(
    offsets=(0x00, 0x04, 0x08, 0x08, 0x0C, 0x10, 0x10, 0x14), size=0x20, outputs=("ring",)
)
STEPPED = Stepped(
    Timer,
    {},
    _act,
    reads=(0x00, 0x08, 0x10),
    cacheable=frozenset({0x10}),
    next_edges=(
        (((3, 0x0C, 1), (6, 0x08, 20)), 6, 21),  # RANG in the cycle after the match
        (((3, 0x0C, 1), (6, 0x08, 20)), 20, 21),
        ((), 5, None),
    ),
)
