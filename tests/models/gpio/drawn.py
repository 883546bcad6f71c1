"""What tests draw for gpio."""

from __future__ import annotations

import random
from collections.abc import Mapping
from typing import Any

from hypothesis import strategies as st

from busbox.models.gpio import Gpio
from tests.models.drawing import Act, Drawn, Stepped


def _driven(settings: Mapping[str, Any]) -> st.SearchStrategy[str]:
    return st.integers(0, min(2, settings["width"] - 1)).map(lambda number: f"in.{number}")


def _act(dice: random.Random, now: int) -> Act:
    if dice.random() < 0.5:
        return f"in.{dice.randrange(3)}", dice.randrange(2)
    return dice.choice([0x00, 0x14, 0x18, 0x1C, 0x20]), dice.randrange(8)


DRAWN = Drawn(
    offsets=(0x00, 0x04, 0x08, 0x0C, 0x10, 0x14, 0x18, 0x1C, 0x20, 0x20, 0x24),
    size=0x40,
    settings=st.fixed_dictionaries({"width": st.sampled_from((1, 5, 32))}),
    outputs=("out.0", "interrupt"),
    inputs=("in.0",),
    driven=_driven,
)
STEPPED = Stepped(
    Gpio,
    {"width": 3},
    _act,
    reads=(0x00, 0x10, 0x20),
    cacheable=frozenset({0x10, 0x20}),
    next_edges=(
        (((3, 0x18, 1), (10, "in.0", 1)), 10, 13),  # EVENTS at c + 3
        (((3, 0x18, 1), (10, "in.0", 1)), 12, 13),
        ((), 5, None),
    ),
)
