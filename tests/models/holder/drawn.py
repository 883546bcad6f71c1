"""What tests draw for the holder."""

from __future__ import annotations

from hypothesis import strategies as st

from tests.models.drawing import Drawn
from tests.models.holder.model import Holder

DRAWN = Drawn(
    offsets=(0x00, 0x04, 0x04, 0x0C, 0x10, 0x14),
    size=32,
    settings=st.fixed_dictionaries({"hold": st.integers(0, 4)}),
    model=Holder,
)
