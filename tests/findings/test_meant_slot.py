"""The slot that an address without one probably meant: evidence of the whole run before bytes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.findings.test_rules_of_findings import run

pytestmark = pytest.mark.quick

SLOTS = {
    "levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000},
    "store": {"model": "memory", "base": 0x4300_0000, "size": 0x1000},
    "clock": {"model": "timer", "base": 0x4400_1000, "size": 0x1000},
    "lamps": {"model": "pulse_led", "base": 0x4001_1000, "size": 0x1000, "lamps": 2},
}
CLOCK = "read clock.NOW\nread levers.IN\n"
NEAREST = "The nearest slot is clock at 0x44001000..0x44001fff"
AGREE = "Use the same base address in the bench and in the firmware."


def hint(tmp_path: Path, steps: str) -> str:
    """Return the hint of the first access that no slot decodes."""
    recording = run(tmp_path, steps, slot=SLOTS)
    return next(one.hint for one in recording.findings if one.rule == "unmapped-access")


def test_a_silent_slot_whose_registers_fit_is_meant(tmp_path: Path) -> None:
    """The lamps were moved: clock is nearer in bytes, but it is in use, and has no offset 0x100."""
    assert hint(tmp_path, CLOCK + "write 0x44000008 2\nwrite 0x44000100 7\nread 0x44000004\n") == (
        "Probably lamps at 0x40011000..0x40011fff: it got no access in this run, and its registers "
        "fit all accesses that missed from 0x44000000 on; the same offset there is lamps.COUNT "
        f"(0x40011008). {AGREE}"
    )


@pytest.mark.parametrize(
    "steps",
    [
        CLOCK + "write 0x44000008 2\nwrite lamps.COUNT 1\n",
        CLOCK + "write 0x44000008 2\nwrite 0x44000020 1\n",
        "read clock.NOW\nread lamps.COUNT\nwrite 0x44000010 2\n",
        CLOCK + "write 0x44000700 2\n",
        "write 0x44000008 2\nread clock.NOW\n",
    ],
    ids=[
        "in use",
        "no such offset",
        "read-only there",
        "a memory fits all",
        "two fit",
    ],
)
def test_without_evidence_the_nearest_slot_is_named(steps: str, tmp_path: Path) -> None:
    """A slot in use, one that does not fit all that missed, and a memory are no better guess."""
    assert hint(tmp_path, steps).startswith(NEAREST)


def test_what_missed_elsewhere_does_not_count(tmp_path: Path) -> None:
    """Each block of addresses is judged on its own: another miss leaves the evidence as it is."""
    steps = CLOCK + "write 0x44000008 2\nwrite 0x66000ff0 1\n"
    assert hint(tmp_path, steps).startswith("Probably lamps at")
