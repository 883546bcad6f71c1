"""What tests draw for memory."""

from __future__ import annotations

from hypothesis import strategies as st

from tests.models.drawing import Drawn

DRAWN = Drawn(
    offsets=(0x00, 0x04, 0x08),
    size=16,
    settings=st.fixed_dictionaries({"kind": st.sampled_from(("ram", "rom"))}),
)
