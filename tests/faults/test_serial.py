"""Serial bytes that cannot be on a pin: faster than the clock, or two at once."""

from __future__ import annotations

import tempfile
from pathlib import Path
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


def replied(*replies: dict[str, Any], text: str = "?") -> list[int]:
    """Return the cycles of the edges at a pin; each character waits for the stop bit before it."""
    slot = {"telegraph": SLOT["telegraph"] | {"divisor": 4, "wait": 0}}
    steps = [
        f"write telegraph.DATA {ord(one):#x} +{41 if number else 0}"
        for number, one in enumerate(text)
    ]
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "day.steps").write_text("\n".join([*steps, "pause 400\n"]), encoding="utf-8")
        keys = {"slot": slot, "reply": list(replies), "traffic": {"file": "day.steps"}}
        recording = Bench({"clock": "1 MHz", **keys}, folder=folder).run("python")
    return [int(cycle) for cycle in recording.edges("telegraph.rx")[0]]


#: 0xff has one low bit, the start bit: a byte is one fall. The stop bit of "?" ends with cycle 42.
BYTE = {"of": "telegraph", "after_text": "?", "send": [0xFF], "delay": 7, "rate": 250_000}


def test_replies_follow_each_other_without_a_gap() -> None:
    """One byte of 40 cycles begins in cycle 50: another reply may begin in cycle 90, or end in 50."""
    assert replied(BYTE, BYTE | {"delay": 47}) == [0, 50, 54, 90, 94]
    assert replied(BYTE | {"delay": 47}, BYTE) == [0, 50, 54, 90, 94]
    assert replied(BYTE, text="??") == [0, 50, 54, 92, 96]


@pytest.mark.parametrize(
    ("replies", "text", "told"),
    [
        ([BYTE, BYTE | {"delay": 46}], "?",
         "reply.1: its bytes keep telegraph.rx from cycle 89 until cycle 129, those of reply.0 from "
         "cycle 50 until cycle 90; choose another delay"),
        ([BYTE | {"delay": 46}, BYTE], "?",
         "reply.1: its bytes keep telegraph.rx from cycle 50 until cycle 90, those of reply.0 from "
         "cycle 89 until cycle 129; choose another delay"),
        ([BYTE, BYTE], "?",
         "reply.1: its bytes keep telegraph.rx from cycle 50 until cycle 90, those of reply.0 from "
         "cycle 50 until cycle 90; choose another delay"),
        ([BYTE | {"send": [0xFF, 0xFF]}], "??",
         "reply.0: its bytes keep telegraph.rx from cycle 92 until cycle 172, those of reply.0 from "
         "cycle 50 until cycle 130; choose another delay"),
    ],
)  # fmt: skip
def test_replies_that_overlap_are_refused(
    replies: list[dict[str, Any]], text: str, told: str
) -> None:
    """Two replies, equal ones, and one that is due again while it is sent: no byte is garbled."""
    with pytest.raises(InputError) as caught:
        replied(*replies, text=text)
    assert str(caught.value) == told


@pytest.mark.quick
@pytest.mark.parametrize("way", [{"level": 1}, {"bytes": "ab"}])
def test_a_reply_shares_no_pin_with_an_input(way: dict[str, Any]) -> None:
    """Whatever the cycles: the line has one sender."""
    first = {"pin": "telegraph.rx", "at": 10, **way}
    assert told(input=[first], reply=[BYTE]) == (
        "reply.0.of: telegraph.rx is driven by input.0 already"
    )
