"""Names of constants: which register each means, compared with the one that it reaches."""

from __future__ import annotations

import pytest

from busbox.firmware.c_names import NameJudge
from busbox.firmware.c_uses import BASE, Constant
from busbox.map.slots import AddressMap
from tests.registers.drawn import shipped

pytestmark = pytest.mark.quick

CABIN = shipped("signal_cabin")
MAP = AddressMap([slot.slot for slot in CABIN.slots])
JUDGE = NameJudge(MAP, {slot.slot.name: slot.kind for slot in CABIN.slots})
COUNT = "lamps.COUNT is at 0x40002008"


@pytest.mark.parametrize(
    ("name", "address", "kind", "meant"),
    [
        # what its name says, by the slot's name, its model's, or neither
        ("LAMPS_COUNT", 0x4000_2008, "reached", ""),
        ("LED_COUNT", 0x4000_2008, "reached", ""),
        ("UART_STATUS", 0x4000_1004, "reached", ""),
        ("lampsCount", 0x4000_2008, "reached", ""),
        ("LAMPS_COUNT_ADDR", 0x4000_2008, "reached", ""),
        ("GPIO_OUT_B1", 0x4000_0001, "reached", ""),
        ("LED_COLOUR(n)", 0x4000_2100, "reached", ""),
        ("TIMER_NOW", 0x4000_3000, "reached", ""),
        ("CLOCK_HIGH", 0x4000_3004, "reached", ""),
        ("LAMP_DATA", 0x4000_2100, "reached", ""),
        ("SEMAPHORE", 0x4000_2008, "reached", ""),
        ("0x40002008", 0x4000_2008, "reached", ""),
        # a base
        ("LAMPS", 0x4000_2000, "base", ""),
        ("LAMP_BASE", 0x4000_2000, "base", ""),
        ("UART_BASE", 0x4000_1000, "base", ""),
        # another register of the same slot
        ("LAMPS_COUNT", 0x4000_2004, "another", COUNT),
        ("LED_COUNT", 0x4000_2004, "another", COUNT),
        ("LED_COUNT_REG", 0x4000_2004, "another", COUNT),
        ("CLOCK_NOW_HIGH", 0x4000_3000, "another", "clock.NOW_HIGH is at 0x40003004"),
        ("LAMPS_COUNT", 0x4000_2020, "another", COUNT),
        # a register of another slot
        ("LAMPS_STATUS", 0x4000_1004, "another", "lamps.STATUS is at 0x40002004"),
        ("UART_STATUS", 0x4000_2004, "another", "telegraph.STATUS is at 0x40001004"),
        ("BELL_DIVISOR", 0x4000_2008, "another", "telegraph.DIVISOR is at 0x40001008"),
        ("LAMPS_BASE", 0x4000_1000, "another", "lamps is at 0x40002000"),
        # holes and no slot
        ("SEMAPHORE", 0x4000_2020, "hole", ""),
        ("LAMPS_SEMAPHORE", 0x4000_2020, "hole", ""),
        ("LAMPS_COUNT", 0x4400_2008, "nowhere", COUNT),
        ("LAMPS", 0x4400_2000, "nowhere", "lamps is at 0x40002000"),
        ("SEMAPHORE", 0x4400_2000, "nowhere", ""),
    ],
)
def test_names(name: str, address: int, kind: str, meant: str) -> None:
    """A name that says nothing accuses nobody; one that says another register names it."""
    found = JUDGE.judge(Constant(name, 1, address))
    assert (found.kind, found.meant) == (kind, meant)


def test_what_others_add_to_is_a_base_unless_it_names_another_slot() -> None:
    """The base of other addresses is none of a slot that its name does not name."""
    assert JUDGE.judge(Constant("PARTS", 1, 0x4000_0000, how=BASE)).kind == "base"
    assert JUDGE.judge(Constant("LAMPS", 1, 0x4000_1000, how=BASE)).kind == "another"


def test_the_nearest_slot_is_found_by_name_first() -> None:
    """A name that names one slot goes before the distance."""
    near_the_clock = 0x4000_4000
    for name, slot in (("LAMPS_X", "lamps"), ("SEMAPHORE", "clock"), ("UART_X", "telegraph")):
        found = JUDGE.nearest(Constant(name, 1, near_the_clock))
        assert found is not None
        assert found.name == slot
