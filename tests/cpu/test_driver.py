"""What a driver in Python may know and say: the cycle, pins, places, handlers; exact to the cycle.

Every slot has wait = 0, so that an access raised in s ends in e = s; F is the first cycle that the next
step may use (semantics page, rules 10 to 18). Each bench is played with models and with hardware.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import Module

from busbox import Recording
from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.bus.hardware import Hardware, Registers
from busbox.cpu import Bus, BusError
from busbox.device import Pin
from busbox.explain.why import Stories
from busbox.map.registers import Register, RegisterTable

SLOTS: dict[str, dict[str, Any]] = {
    "levers": {"model": "gpio", "base": 0x1000, "size": 0x100, "wait": 0, "width": 8},
    "clock": {"model": "timer", "base": 0x2000, "size": 0x20, "wait": 0},
    "telegraph": {"model": "uart", "base": 0x3000, "size": 0x10, "wait": 0, "divisor": 4},
}

Run = Callable[..., Recording]


def level(at: int, value: int, pin: str = "levers.in.4") -> dict[str, Any]:
    """Return an input."""
    return {"at": at, "pin": pin, "level": value}


def bench_of(driver: object, built: str = "model", **keys: Any) -> Bench:
    """Return the cabin with a driver."""
    slots = {name: slot | {"as": built} for name, slot in SLOTS.items()}
    return Bench({"clock": "1 MHz", "slot": slots, "traffic": driver} | keys)


@pytest.fixture(params=[("model", "reference"), ("hardware", "python")], ids=str)
def run(request: pytest.FixtureRequest) -> Run:
    """Run a driver with models and with hardware, on one engine each."""
    built, engine = request.param

    def play(driver: object, **keys: Any) -> Recording:
        return bench_of(driver, built, **keys).run(engine)

    return play


@pytest.fixture
def play() -> Run:
    """Run a driver with models: what is tested is the CPU."""
    return lambda driver, **keys: bench_of(driver, **keys).run("python")


def starts(recording: Recording) -> list[int]:
    """Return the cycles in which accesses were raised."""
    return [int(cycle) for cycle in recording.accesses.start]


def noted(act: Callable[[Bus, list[Any]], None]) -> tuple[Callable[[Bus], None], list[Any]]:
    """Return a driver that begins with an empty list whenever it is called, and the list."""
    seen: list[Any] = []

    def driver(bus: Bus) -> None:
        seen.clear()
        act(bus, seen)

    return driver, seen


# The cycle.


def test_the_cycle_is_the_first_one_that_the_next_step_may_use(play: Run) -> None:
    """F = 1 at the start, e + 1 after an access, n more after a pause, r + 2 after a reset."""

    def act(bus: Bus, seen: list[Any]) -> None:
        seen.append(bus.cycle)
        bus.write("levers.OUT", 1, wait=2)  # raised in 3
        seen.append(bus.cycle)
        bus.pause(5)
        bus.mark("here")
        seen.append(bus.cycle)
        bus.poll("levers.IN", 1, mask=1, every=2, limit=3)  # reads in 9, 12, 15
        seen.append(bus.cycle)
        bus.await_level("levers.in.0", 1, 4)
        seen.append(bus.cycle)
        bus.reset(wait=1)  # in 21
        seen.append(bus.cycle)

    driver, seen = noted(act)
    play(driver)
    assert seen == [1, 4, 9, 16, 20, 23]


@pytest.mark.parametrize("after", ["continue", "restart"])
def test_after_a_reset_of_the_board_the_cycle_is_that_after_the_last_with_rst_high(
    after: str, play: Run
) -> None:
    """RST in 5 and 6: F = 8, for the step after the one that was cut off, or for the first one."""

    def act(bus: Bus, seen: list[Any]) -> None:
        seen.append(bus.cycle)
        bus.pause(10)
        seen.append(bus.cycle)

    driver, seen = noted(act)
    play(driver, reset=[{"at": 5, "length": 2}], after_reset=after)
    assert seen == {"continue": [1, 8], "restart": [8, 18]}[after]


# Pins.


@pytest.mark.parametrize("at", [0, 1, 2])
def test_a_pin_shows_what_it_is_in_that_very_cycle(at: int, run: Run) -> None:
    """A level from cycle ``at`` on is there in F = at, not before: also in F = 1, before any step."""

    def act(bus: Bus, seen: list[Any]) -> None:
        for _ in range(3):
            seen.append((bus.cycle, bus.pin("levers.in.4")))
            bus.write("levers.OUT", 0)

    driver, seen = noted(act)
    recording = run(driver, input=[level(at, 1)])
    assert seen == [(cycle, int(cycle >= at)) for cycle in (1, 2, 3)]
    assert starts(recording) == [1, 2, 3]  # to look takes no time


def test_an_output_moves_in_the_cycle_after_its_write_and_a_released_one_is_told(run: Run) -> None:
    """OUT written in 1 shows in 2, ENABLE in 3; what nothing drives shows 2; a wire brings it along."""

    def act(bus: Bus, seen: list[Any]) -> None:
        pins = ("levers.out.0", "levers.in.1")
        seen.append([bus.pin(pin) for pin in pins])
        bus.write("levers.OUT", 1)
        seen.append([bus.pin(pin) for pin in pins])
        bus.write("levers.ENABLE", 0)
        seen.append([bus.pin(pin) for pin in pins])

    driver, seen = noted(act)
    run(driver, wire=[{"from": "levers.out.0", "to": "levers.in.1"}])
    assert seen == [[0, 0], [1, 1], [2, 0]]


@pytest.mark.parametrize("byte", [0x41])
def test_a_line_read_cycle_by_cycle_is_the_line_that_is_recorded(byte: int, run: Run) -> None:
    """A driver that looks in every cycle sees each edge of the telegraph in its own cycle."""

    def act(bus: Bus, seen: list[Any]) -> None:
        bus.write("telegraph.DATA", byte)
        for _ in range(50):
            seen.append((bus.cycle, bus.pin("telegraph.tx")))
            bus.pause(1)

    driver, seen = noted(act)
    recording = run(driver)
    cycles, levels = recording.edges("telegraph.tx")
    expected = [levels[cycles.searchsorted(cycle, side="right") - 1] for cycle, _ in seen]
    assert [one for _, one in seen] == expected


@pytest.mark.parametrize("at", [2, 7])
def test_a_driver_that_looks_for_itself_sees_what_an_await_sees(at: int, run: Run) -> None:
    """An await that ends with F = t + 1 has seen its level in t, in which the loop sees it too."""

    def waits(bus: Bus) -> None:
        bus.write("levers.OUT", 1)
        bus.await_level("levers.in.4", 1)
        bus.read("levers.IN")

    def looks(bus: Bus) -> None:
        bus.write("levers.OUT", 1)
        while not bus.pin("levers.in.4"):
            bus.pause(1)
        bus.read("levers.IN", wait=1)

    assert starts(run(waits, input=[level(at, 1)])) == [1, at + 1]
    assert starts(run(looks, input=[level(at, 1)])) == [1, at + 1]


@pytest.mark.parametrize(
    ("pin", "told"),
    [
        ("levers.in.44", "levers has no pin 'in.44'; did you mean 'in.4'?"),
        ("lever.in.4", "there is no slot 'lever'; did you mean 'levers'?"),
        ("levers", "levers has no pin ''"),
    ],
)
def test_a_pin_that_there_is_not_is_refused_with_the_nearest_name(pin: str, told: str) -> None:
    """It is told where the driver asks, also before its first step."""

    def driver(bus: Bus) -> None:
        bus.pin(pin)

    with pytest.raises(ValueError, match=r"there is no slot|has no pin") as raised:
        bench_of(driver).run()
    assert str(raised.value) == told


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("bus.pin('lever.in.4')", "the function raised ValueError: there is no slot 'lever'"),
        ("bus.await_level('lever.in.4', 1)", "there is no slot 'lever'"),
        ("bus.on('lever.in.4', print)", "there is no slot 'lever'"),
    ],
)
def test_a_wrong_pin_tells_the_line_of_the_driver(line: str, told: str, tmp_path: Path) -> None:
    """Asked, awaited or named for a handler: file and line are the driver's."""
    text = f"def firmware(bus):\n    bus.write('levers.OUT', 1)\n    {line}\n    bus.pause(1)\n"
    (tmp_path / "driver.py").write_text(text, encoding="utf-8")
    keys = {"clock": "1 MHz", "slot": SLOTS, "traffic": {"file": "driver.py:firmware"}}
    with pytest.raises(InputError) as raised:
        Bench(keys, folder=tmp_path).run()
    assert str(raised.value) == f"driver.py:3: {told}; did you mean 'levers'?"


class Tap(Hardware):
    """A pin that is high in the cycle of a write, and one that is high after it."""

    table = RegisterTable(Register("WORD", 0))
    pins = (Pin("now"), Pin("then"))
    pin_now: Any
    pin_then: Any

    def build(self, m: Module, registers: Registers) -> None:
        """Join them."""
        m.d.comb += self.pin_now.eq(registers.WORD.written)
        m.d.sync += self.pin_then.eq(registers.WORD.written)


def test_a_pin_that_shows_the_access_of_its_own_cycle_is_refused() -> None:
    """What the driver does next would decide what it has seen; an await of such a pin is exact."""
    slots = {"tap": {"model": Tap, "base": 0, "size": 4, "wait": 0}}
    seen: list[int] = []

    def driver(bus: Bus) -> None:
        bus.write("tap.WORD", 1)
        seen.append(bus.pin("tap.then"))
        bus.await_level("tap.now", 0)
        bus.pin("tap.now")

    with pytest.raises(ValueError, match=r"tap\.now is not known before the next step") as raised:
        Bench({"clock": "1 MHz", "slot": slots, "traffic": driver}).run("python")
    assert str(raised.value).endswith("bus_stb and bus_we in the same cycle")
    assert seen == [1]


# Places.

LIBRARY = """\
def strike(bus, times):
    for _ in range(times):
        bus.write("levers.OUT", 1)
"""
DRIVER = """\
import sys
sys.path.insert(0, {folder!r})
from bell_library import strike

def firmware(bus):
    strike(bus, 1)
    bus.read("levers.OUT", pc=0x80)
    bus.write("levers.OUT", 2, place=("cabin.c", 12))
    bus.write("levers.SET", 4)
"""


@pytest.fixture
def in_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """Return a bench whose driver uses a library in another file."""
    (tmp_path / "bell_library.py").write_text(LIBRARY, encoding="utf-8")
    (tmp_path / "driver.py").write_text(DRIVER.format(folder=str(tmp_path)), encoding="utf-8")
    monkeypatch.setattr(sys, "path", [*sys.path])
    monkeypatch.delitem(sys.modules, "bell_library", raising=False)
    keys = {"clock": "1 MHz", "slot": SLOTS, "traffic": {"file": "driver.py:firmware"}}
    return Bench(keys, folder=tmp_path)


def test_an_access_has_the_file_and_line_that_made_it(in_files: Bench, tmp_path: Path) -> None:
    """The driver's own file is the traffic's; a library's, and one that is given, have their names."""
    recording = in_files.run()
    places = [recording.place_of(access) for access in range(4)]
    assert places == ["bell_library.py:3", "driver.py:7", "cabin.c:12", "driver.py:9"]
    assert recording.accesses.pc.tolist() == [-1, 0x80, -1, -1]
    recording.save(tmp_path / "one.recording.npz")
    loaded = Recording.load(tmp_path / "one.recording.npz")
    assert [loaded.place_of(access) for access in range(4)] == places


def test_why_names_the_line_of_the_library(in_files: Bench) -> None:
    """From the pin's edge back to the line that wrote, in whatever file it stands."""
    story = Stories(in_files.system(), in_files.run()).tell("levers.out.0@2us")
    (cause,) = (part for part in story.parts if part.label == "caused by")
    assert cause.place == "bell_library.py:3"
    assert (cause.facts["line"], cause.facts["line_file"]) == (3, "bell_library.py")


def test_a_wrong_name_in_a_library_tells_the_librarys_line(in_files: Bench, tmp_path: Path) -> None:
    """What cannot be played is told at the file and line that asked for it."""
    wrong = LIBRARY.replace("levers.OUT", "levers.OUTT")
    (tmp_path / "bell_library.py").write_text(wrong, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        in_files.run()
    expected = "bell_library.py:3: levers has no register 'OUTT'; did you mean 'OUT'?"
    assert str(raised.value) == expected


@pytest.mark.parametrize("pc", [-1, True, "0x80", 1 << 63])
def test_a_pc_must_be_an_address(pc: Any) -> None:
    """Each wrong one is refused where it is given."""
    with pytest.raises(ValueError, match="pc must be an address"):
        bench_of(lambda bus: bus.write("levers.OUT", 1, pc=pc)).run()


@pytest.mark.parametrize("place", ["cabin.c", ("cabin.c",), ("cabin.c", 0), (3, 4), ("x", True)])
def test_a_place_must_be_a_file_and_a_line(place: Any) -> None:
    """Each wrong one is refused where it is given."""
    with pytest.raises(ValueError, match="place must be a file and a line"):
        bench_of(lambda bus: bus.read("levers.OUT", place=place)).run()


# Handlers (rule 12c).


def test_a_handler_of_a_driver_is_taken_as_one_of_a_file_is(play: Run) -> None:
    """Taken in 10: its access in 10 + 1 + 3 = 14, b = 15 + 2 = 17; what was 12 cycles away is in 29."""

    def driver(bus: Bus) -> None:
        bus.on("levers.in.4", lambda bus: bus.write("levers.TOGGLE", 2), enter=3, leave=2)
        bus.write("levers.OUT", 1)
        bus.read("levers.IN", wait=20)

    recording = play(driver, input=[level(10, 1), level(12, 0)])
    assert starts(recording) == [1, 14, 29]
    assert recording.accesses.step.tolist() == [0, 2, 1]


def test_a_handler_decides_by_cycle_pins_and_what_it_reads(run: Run) -> None:
    """Each call begins anew, with F = t + 1 + enter; what the CPU was reading is not lost by it."""

    def act(bus: Bus, seen: list[Any]) -> None:
        def serve(bus: Bus) -> None:
            seen.append((bus.cycle, bus.pin("levers.in.5"), bus.read("levers.IN")))
            if bus.pin("levers.in.5"):
                bus.write("clock.STATUS", 1)  # ring falls in the next cycle

        bus.on("clock.ring", serve, enter=1)
        bus.write("clock.CONTROL", 1)
        bus.write("clock.ALARM", 30)
        bus.write("levers.OUT", 7)
        seen.append(bus.read("levers.OUT", wait=40))

    driver, seen = noted(act)
    recording = run(driver, input=[level(35, 1, "levers.in.5")])
    # NOW == ALARM in 30, ring from 31 on. Taken in 31: F = 33, the read in 33, pin low in 34, b = 34.
    # Taken again in 34: F = 36, the read in 36 (IN shows levels of 34), the clear in 37, b = 38.
    # The read of OUT was to be raised in 44: 13 cycles after 31, after 34, and after 38.
    assert seen == [(33, 0, 0), (36, 1, 0), 7]
    assert starts(recording) == [1, 2, 3, 33, 36, 37, 51]


def test_a_handler_holds_from_the_step_before_which_it_is_named(play: Run) -> None:
    """The pin is high all the time; it is taken in F = 6, in which the driver names it."""

    def driver(bus: Bus) -> None:
        bus.pause(5)
        bus.on("levers.in.4", lambda bus: bus.write("levers.SET", 1))
        bus.pause(5)

    recording = play(driver, input=[level(0, 1), level(7, 0)])
    assert starts(recording) == [7]
    assert recording.cycles == 8 + 5 + 1


def test_a_handler_may_name_another(play: Run) -> None:
    """One that a handler has named is taken like any other, after it."""

    def driver(bus: Bus) -> None:
        def first(bus: Bus) -> None:
            bus.on("levers.in.5", lambda bus: bus.write("levers.SET", 2))
            bus.write("levers.SET", 1)

        bus.on("levers.in.4", first)
        bus.pause(20)

    inputs = [level(3, 1), level(4, 0), level(9, 1, "levers.in.5"), level(10, 0, "levers.in.5")]
    assert starts(play(driver, input=inputs)) == [4, 10]


def test_a_restart_forgets_handlers_that_the_driver_has_not_named_again(play: Run) -> None:
    """The driver is called anew after the reset, and the second time names none."""
    calls: list[int] = []

    def driver(bus: Bus) -> None:
        calls.append(1)
        if len(calls) % 2:
            bus.on("levers.in.4", lambda bus: bus.write("levers.SET", 1))
        bus.pause(20)

    recording = play(driver, input=[level(5, 1), level(6, 0), level(15, 1)], reset=[{"at": 10}])
    assert starts(recording) == [6]


@pytest.mark.parametrize("until", [12, 14, 15, 30])
def test_no_thread_of_a_handler_is_left_behind(until: int) -> None:
    """However early a run ends, in a handler or after it, every thread has ended too."""

    def driver(bus: Bus) -> None:
        bus.on("levers.in.4", lambda bus: [bus.write("levers.SET", 1) for _ in range(3)])
        bus.pause(20)

    before = threading.active_count()
    bench_of(driver, input=[level(10, 1)]).run(until=until)
    assert threading.active_count() == before


def test_a_reset_of_the_board_abandons_a_handler_of_a_driver(play: Run) -> None:
    """Its access in 14 is cut off; the step that waited is played from its start: 16 + 20."""
    before = threading.active_count()

    def driver(bus: Bus) -> None:
        bus.on("levers.in.4", lambda bus: bus.write("levers.TOGGLE", 2), enter=3, leave=2)
        bus.write("levers.OUT", 1)
        bus.read("levers.IN", wait=20)

    inputs = [level(10, 1), level(11, 0)]
    recording = play(driver, input=inputs, reset=[{"at": 14}], after_reset="continue")
    assert starts(recording) == [1, 14, 36]
    assert threading.active_count() == before


def test_what_a_handler_raises_tells_its_line(tmp_path: Path) -> None:
    """An error in a handler of a file is told as one in the driver is."""
    text = (
        "def serve(bus):\n    bus.read(0x9000)\n"
        "def firmware(bus):\n    bus.on('levers.in.4', serve)\n    bus.pause(5)\n"
    )
    (tmp_path / "driver.py").write_text(text, encoding="utf-8")
    keys = {"clock": "1 MHz", "slot": SLOTS, "traffic": {"file": "driver.py:firmware"}}
    bench = Bench(keys | {"input": [level(2, 1)]}, folder=tmp_path)
    with pytest.raises(InputError) as raised:
        bench.run()
    told = "driver.py:2: the function raised BusError: the access to 0x00009000 ended with ERR"
    assert str(raised.value) == told
    assert isinstance(raised.value.__cause__, BusError)


@pytest.mark.parametrize("wrong", [lambda bus: bus.write("levers.SET", 1), lambda bus: bus.cycle])
def test_a_handler_that_uses_the_drivers_bus_is_refused(wrong: Callable[[Bus], object]) -> None:
    """The driver's bus waits for a step of its own: it can neither play another nor tell the cycle."""

    def driver(bus: Bus) -> None:
        bus.on("levers.in.4", lambda own: wrong(bus))
        bus.pause(20)

    with pytest.raises(RuntimeError, match="a handler must use the bus that it is given"):
        bench_of(driver, input=[level(5, 1)]).run()


@pytest.mark.parametrize(
    ("call", "told"),
    [
        (lambda bus: bus.on("levers.in.4", 5), "a handler must be a function, not 5"),
        (lambda bus: bus.on("levers.in.4", lambda: 1), "a handler must be a function of one argument"),
        (lambda bus: bus.on(4, print), "pin must be a string such as 'clock.ring', not 4"),
        (lambda bus: bus.on("levers.in.4", print, enter=-1), "idle cycles must be a whole number"),
    ],
)  # fmt: skip
def test_a_wrong_handler_is_refused_where_it_is_given(call: Any, told: str) -> None:
    """Each wrong argument raises ValueError in the driver."""
    with pytest.raises(ValueError, match=told):
        bench_of(call).run()
