"""Polls that reach their limit, many in one run."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import busbox.basics.growing
import busbox.cpu.player
from busbox import load_bench
from busbox.basics.units import Span
from busbox.cpu.steps import AccessStep, Pause, Poll, Step, Target

#: The levers of first_light: nothing pulls one before 40 us.
LEVERS: Target = 0x4000_0000
STEPS = st.one_of(
    st.builds(
        lambda bits, same, limit: Poll(LEVERS, 0 if same else bits, bits, 0, limit),
        st.integers(1, 0xFFFF_FFFF), st.booleans(), st.integers(1, 3),
    ),
    st.just(AccessStep(False, LEVERS)),
    st.just(Pause(Span(cycles=3))),
)  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(steps=st.lists(STEPS, max_size=25))
def test_each_poll_that_is_given_up_has_its_own_mask_value_and_limit(steps: list[Step]) -> None:
    """Of polls of a word that is 0, those that wait for another are recorded with it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(busbox.basics.growing, "IN_MEMORY", 64)
        patch.setattr(busbox.cpu.player, "AHEAD", 3)
        recording = load_bench("first_light").run("python", traffic=steps)
    naive = [(one.mask, one.value, one.limit) for one in steps
             if isinstance(one, Poll) and one.value]  # fmt: skip
    assert [(one.mask, one.value, one.limit) for one in recording.polls_given_up] == naive
    last = {one.access: recording.accesses.step[one.access] for one in recording.polls_given_up}
    assert list(last.values()) == [
        place for place, one in enumerate(steps) if isinstance(one, Poll) and one.value
    ]
