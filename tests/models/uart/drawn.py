"""What tests draw for uart."""

from __future__ import annotations

import random

from hypothesis import strategies as st

from busbox.models.uart import Uart
from tests.models.drawing import Act, Drawn, Stepped


def _act(dice: random.Random, now: int) -> Act:
    if dice.random() < 0.6:
        return "rx", dice.randrange(2)
    offset = dice.choice([0x00, 0x00, 0x04, 0x08, 0x0C, 0x0C])
    return offset, dice.randrange(1, 6) if offset == 0x08 else dice.randrange(256)


DRAWN = Drawn(
    offsets=(0x00, 0x00, 0x04, 0x04, 0x08, 0x0C),
    size=0x10,
    settings=st.fixed_dictionaries({"divisor": st.integers(1, 4)}),
    outputs=("tx", "interrupt"),
    inputs=("rx",),
    driven=lambda settings: st.just("rx"),
)
STEPPED = Stepped(
    Uart,
    {"divisor": 2, "baud": None},
    _act,
    reads=(0x00, 0x04, 0x08),
    cacheable=frozenset({0x04}),
    next_edges=(
        (((6, 0x00, 0),), 6, 8),  # from idle the line falls in e + 2
        (((6, 0x00, 0), (9, 0x00, 0)), 9, 28),  # the second byte, 8 + 20
        ((), 5, None),
    ),
)
