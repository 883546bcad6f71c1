"""What tests draw for pulse_led."""

from __future__ import annotations

import random
from typing import Any

from hypothesis import strategies as st

from busbox.models.pulse_led import PulseLed
from tests.models.drawing import Act, Drawn, Stepped


@st.composite
def _settings(draw: st.DrawFn) -> dict[str, Any]:
    half = st.integers(0, 5)
    channels = draw(st.sampled_from((3, 3, 4)))
    orders = {3: ("GRB", "RGB", "BGR"), 4: ("GRBW", "WRGB")}[channels]
    return {
        "lamps": draw(st.integers(1, 3)),
        "channels": channels,
        "order": draw(st.sampled_from(orders)),
        "count": draw(st.integers(0, 4)),
        "high": draw(half) << 16 | draw(half),
        "period": draw(half) << 16 | draw(half),
    }


def _act(dice: random.Random, now: int) -> Act:
    offset = dice.choice([0x00, 0x00, 0x00, 0x04, 0x08, 0x0C, 0x10, 0x100, 0x104])
    if offset == 0x10:
        return offset, dice.randrange(4) << 16 | dice.randrange(3)
    if offset == 0x0C:
        return offset, dice.randrange(3) << 16 | dice.randrange(3)
    return offset, dice.randrange(4) if offset < 0x100 else dice.randrange(1 << 24)


DRAWN = Drawn(
    offsets=(0x00, 0x00, 0x04, 0x08, 0x0C, 0x10, 0x100, 0x104, 0x20),
    size=0x200,
    settings=_settings(),
    outputs=("line",),
)
STEPPED = Stepped(
    PulseLed,
    {"lamps": 2, "channels": 3, "order": None, "count": 1, "high": 0x10001, "period": 0x20002},
    _act,
    reads=(0x00, 0x04, 0x100),
    cacheable=frozenset({0x04}),
    next_edges=(
        (((6, 0x00, 1),), 6, 7),  # the first bit is in e + 1
        (((4, 0x08, 2), (6, 0x00, 1)), 8, 7 + 48),  # the second lamp: bits of 2 cycles
        (((6, 0x00, 3),), 8, 7 + 48 + 2),  # the next frame, behind a gap of 2
        ((), 5, None),
    ),
)
