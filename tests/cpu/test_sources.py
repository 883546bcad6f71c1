"""Python functions as traffic: they decide from what they read, under every variant anew."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.cpu import Bus, BusError

pytestmark = pytest.mark.quick

CABIN: dict[str, Any] = {
    "clock": "1 MHz",
    "slot": {
        "levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000},
        "telegraph": {"model": "uart", "base": 0x4000_1000, "size": 0x1000, "divisor": 4},
    },
}


def run(function: Any, **keys: Any) -> Any:
    """Run a firmware function in the cabin."""
    return Bench(CABIN | keys | {"traffic": function}).run()


def test_a_function_decides_from_what_it_reads() -> None:
    """It sends as many bytes as the levers say, which only a read can tell."""

    def firmware(bus: Bus) -> None:
        bus.pause(5)
        for number in range(bus.read("levers.IN")):
            bus.poll("telegraph.STATUS", 1, mask=1)
            bus.write("telegraph.DATA", ord("a") + number)

    levels = [
        {"at": 0, "pin": "levers.in.0", "level": 1},
        {"at": 0, "pin": "levers.in.1", "level": 1},
    ]
    assert run(firmware, input=levels).texts == {"telegraph": "abc"}
    assert run(firmware, input=levels[1:]).texts == {"telegraph": "ab"}


def test_a_function_and_the_same_steps_in_a_file_run_alike(tmp_path: Path) -> None:
    """The source does not change what a step is: all columns but line are equal."""

    def firmware(bus: Bus) -> None:
        bus.mark("lever")
        bus.write("levers.OUT", 0x0500, lanes=0b0010, wait=3)
        bus.poll("levers.IN", 0, mask=1, every=2, limit=5, wait=1)
        bus.pause("7 us")
        bus.read(0x4000_1004)

    file = tmp_path / "same.steps"
    file.write_text(
        "mark lever\nwrite levers.OUT 0x0500 lanes 0010 +3\n"
        "poll levers.IN & 1 == 0 every 2 limit 5 +1\npause 7 us\nread 0x40001004\n",
        encoding="utf-8",
    )
    one, other = run(firmware), Bench(CABIN).run(traffic=str(file))
    for column in ("start", "end", "address", "write", "lanes", "data", "terminator", "step", "pc"):
        assert one.accesses[column].tolist() == other.accesses[column].tolist()
    assert one.marks == other.marks
    assert one.cycles == other.cycles


def test_an_error_on_the_bus_is_an_exception_that_can_be_caught() -> None:
    """A read that ends with ERR raises BusError; a write returns False."""
    seen: list[object] = []

    def firmware(bus: Bus) -> None:
        seen.append(bus.write(0x5000_0000, 1))
        try:
            bus.read(0x5000_0000)
        except BusError as error:
            seen.append(error.target)
        seen.append(bus.write("levers.OUT", 1))

    run(firmware)
    assert seen == [False, 0x5000_0000, True]


def test_what_a_function_raises_comes_out_with_its_own_traceback() -> None:
    """The firmware's own error is the one the caller sees, from its own line."""

    def firmware(bus: Bus) -> None:
        bus.write("levers.OUT", 1)
        raise ZeroDivisionError("in the firmware")

    with pytest.raises(ZeroDivisionError, match="in the firmware") as raised:
        run(firmware)
    names = [entry.name for entry in raised.traceback]
    assert "firmware" in names


@pytest.mark.parametrize("until", [1, 10, 1000])
def test_no_thread_is_left_behind(until: int) -> None:
    """However early a run ends, the function's thread has ended too."""

    def firmware(bus: Bus) -> None:
        while True:
            bus.write("levers.TOGGLE", 1, wait=3)

    before = threading.active_count()
    Bench(CABIN | {"traffic": firmware}).run(until=until)
    assert threading.active_count() == before


def test_a_restart_calls_the_function_anew() -> None:
    """After a reset the function begins again, with nothing left of its first call."""
    calls: list[str] = []

    def firmware(bus: Bus) -> None:
        calls.append("begin")
        for _ in range(10):
            bus.write("levers.TOGGLE", 1, wait=3)
        calls.append("end")

    run(firmware, reset=[{"at": 20}])
    assert calls == ["begin", "begin", "end"]


def test_a_wrong_name_tells_the_line_of_the_function(tmp_path: Path) -> None:
    """A name that does not exist is told at the line of the firmware that used it."""
    file = tmp_path / "driver.py"
    file.write_text("def firmware(bus):\n    bus.write('levers.OUT', 1)\n    bus.read('levers.INN')\n",
                    encoding="utf-8")  # fmt: skip
    with pytest.raises(InputError) as raised:
        Bench(CABIN | {"traffic": {"file": "driver.py:firmware"}}, folder=tmp_path).run()
    assert str(raised.value) == ("driver.py:3: levers has no register 'INN'; did you mean 'IN'?")


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda bus: bus.write(2, 1), "an address must be a multiple of 4"),
        (lambda bus: bus.write("OUT", 1), "a target must be an address or 'slot.REGISTER'"),
        (lambda bus: bus.write("levers.OUT", 1 << 32), "data must be a whole number from 0"),
        (lambda bus: bus.write("levers.OUT", True), "data must be a whole number from 0"),
        (lambda bus: bus.write("levers.OUT", 1, lanes=16), "lanes must be from 0"),
        (lambda bus: bus.read("levers.OUT", wait=-1), "idle cycles must be a whole number"),
        (lambda bus: bus.poll("levers.OUT", 2, mask=1), "value must lie inside the mask"),
        (lambda bus: bus.poll("levers.OUT", 1, limit=0), "limit must be a whole number from 1 to"),
        (lambda bus: bus.pause("2 minutes"), "a time must be a number with s, ms"),
    ],
)  # fmt: skip
def test_wrong_arguments_are_refused_where_they_are_given(call: Any, text: str) -> None:
    """Each wrong argument raises ValueError in the firmware, in its own words."""
    with pytest.raises(ValueError, match=text):
        run(call)
