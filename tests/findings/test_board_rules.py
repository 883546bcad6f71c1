"""The rules about what the board sees: each mistake, and the near miss beside it."""

from __future__ import annotations

from typing import Any

import pytest

from busbox import Bench, Recording

COMMON = {"high": 0x000D_0007, "period": 0x03C0_0014}  # 13 and 7 of 20 cycles, a gap of 960


def run(steps: list[str], lamps: int = 2, string: dict[str, Any] | None = None, **keys: Any) -> Any:
    """Return the recording of lamps that are driven by steps of text, at 16 MHz unless told."""
    from busbox.formats.text import read_text

    slot = {"model": "pulse_led", "base": 0x4400_0000, "size": 0x1000, "lamps": lamps,
            "count": lamps, **COMMON}  # fmt: skip
    attach = {"kind": "lamp_string", "pin": "lamps.line", "count": lamps, "profile": "P4"}
    bench = Bench({
        "clock": "16 MHz", "slot": {"lamps": slot}, "attach": {"string": attach | (string or {})},
        "traffic": list(read_text(steps, "steps")), **keys,
    })  # fmt: skip
    return bench.run("python")


SEND = "write lamps.CONTROL 1"
DONE = "poll lamps.STATUS & 1 == 0 every 10 limit 1000"


@pytest.mark.parametrize(("gap", "found"), [(787, 2), (788, 0), (1200, 0)])
def test_a_gap_is_as_long_as_the_profile_wants(gap: int, found: int) -> None:
    """Of three frames that follow by themselves, each low of 50 us is told where it ends; 62.5 ns more
    is enough.
    """
    # Common practice, no source (P4): more than 50 us, so 801 cycles at 16 MHz. The low of the last
    # bit, a zero, belongs to the gap: 13 cycles.
    frame = 2 * 24 * 20 + gap
    steps = [f"write lamps.PERIOD {gap << 16 | 20:#x}", "write lamps.CONTROL 3",
             f"pause {2 * frame}", "write lamps.CONTROL 0", DONE, "pause 200 us"]  # fmt: skip
    recording: Recording = run(steps)
    assert len(recording.frames["lamps"]) == 3
    told = [(one.rule, one.cycle, one.access) for one in recording.findings]
    begins = [one.cycle for one in recording.frames["lamps"]]
    assert told == [("latch-gap", begin, 1) for begin in begins[1:][:found]]
    shown = recording.seen["string"].frames
    assert shown is not None
    assert len(shown) == (1 if found else 3)


@pytest.mark.parametrize(("period", "found"), [("130 ms", 1), ("170 ms", 0)])
def test_a_lamp_may_flash_three_times_in_a_second(period: str, found: int) -> None:
    """White and dark by turns: every 130 ms is told once, with lamp and rate; every 170 ms is not."""
    # WCAG 2.2, success criterion 2.3.1: at most three flashes in any second, so seven changes.
    slow = {"zero_high": ["40 us", "60 us"], "one_high": ["90 us", "110 us"], "gap": "900 us",
            "zero_low": ["90 us", "110 us"], "one_low": ["40 us", "60 us"]}  # fmt: skip
    slot = {"model": "pulse_led", "base": 0x4400_0000, "size": 0x1000, "lamps": 1, "count": 1,
            "high": 0x0002_0001, "period": 0x0014_0003}  # fmt: skip
    steps = [step for value in (0xFFFFFF, 0) * 5
             for step in (f"write lamps.COLOUR.0 {value:#x}", SEND, f"pause {period}")]  # fmt: skip
    recording: Recording = run(
        steps, 1, {"profile": "slow"}, clock="20 kHz", slot={"lamps": slot}, profile={"slow": slow}
    )
    assert [one.rule for one in recording.findings] == ["flash-rate"] * found
    assert all("Lamp 0 flashes 4 times in a second" in one.message for one in recording.findings)


def test_each_broken_frame_is_told_with_its_bits() -> None:
    """A reset after 31 bits: told once, at the cycle in which the lamps show it, with its access."""
    recording = run([SEND, "pause 100 us", "pause 100 us"], reset=[{"at": 622, "length": 1}],
                    after_reset="continue")  # fmt: skip
    (finding,) = recording.findings
    assert (finding.rule, finding.access) == ("broken-bit-count", 0)
    assert finding.message.startswith(
        "string: Frame 0 has 31 bits, which is 1 lamp of 24 bits and 7 bits left over: "
    )
    whole = run([SEND, "pause 100 us"])
    assert whole.counts == {}


def test_four_channels_are_no_broken_frame_of_three() -> None:
    """Lamps of 32 bits read as lamps of 24 are told; read as they are, nothing is."""
    slots = {"lamps": {"model": "pulse_led", "base": 0x4400_0000, "size": 0x1000, "lamps": 2,
                       "channels": 4, "count": 2, **COMMON}}  # fmt: skip
    steps = [SEND, "pause 100 us"]
    three = run(steps, slot=slots)
    assert list(three.counts) == ["broken-bit-count"]
    assert "64 bits, which is 3 lamps of 24 bits less 8 bits: " in three.findings[0].message
    assert run(steps, slot=slots, string={"channels": 4}).counts == {}
