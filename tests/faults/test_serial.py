"""Serial bytes that cannot be on a pin: faster than the clock, or two at once."""

from __future__ import annotations

from typing import Any

import pytest

from busbox import Bench, InputError

SLOT = {"telegraph": {"model": "uart", "base": 0x1000, "size": 0x1000}}


def told(**keys: Any) -> str:
    """Return what a bench with these tables is told."""
    with pytest.raises(InputError) as caught:
        Bench({"clock": "1 MHz", "slot": SLOT, **keys}).system([])
    return str(caught.value)


@pytest.mark.quick
def test_bytes_faster_than_the_clock_are_refused() -> None:
    """A bit of a serial line lasts one cycle or longer: of an input, and of a reply."""
    rule = "must be at most the clock, 1,000,000 bits per second, not 3000000"
    fast = {"pin": "telegraph.rx", "at": 10, "bytes": "ab", "rate": 3_000_000}
    assert told(input=[fast]).startswith(f"input.0.rate: {rule}")
    reply = {"of": "telegraph", "after_text": "a", "send": "b", "rate": 3_000_000}
    assert told(reply=[reply]).startswith(f"reply.0.rate: {rule}")
    Bench({"clock": "1 MHz", "slot": SLOT, "input": [fast | {"rate": 1_000_000}]}).system([])


def test_bytes_of_two_inputs_do_not_overlap_on_a_pin() -> None:
    """Two bytes of 10 bits at 100 cycles a bit end in cycle 2,010: others begin then or later."""
    first = {"pin": "telegraph.rx", "at": 10, "bytes": "ab", "rate": 10_000}
    for at in (11, 1000, 2009):
        assert told(input=[first, first | {"at": at}]) == (
            f"input.1.at: the bytes begin in cycle {at:,}, but those of input.0 keep telegraph.rx "
            "until cycle 2,010; begin there or later"
        )
    Bench({"clock": "1 MHz", "slot": SLOT, "input": [first, first | {"at": 2010}]}).system([])
