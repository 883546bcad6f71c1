"""Awaits, handlers, resets by the CPU, wires, replies and serial inputs, to the cycle.

Every slot has wait = 0, so that an access raised in s ends in e = s; F is the first cycle that the next
step may use (semantics page, rules 10 to 12f).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox.bench.bench import Bench
from busbox.recording import Recording
from busbox.run.connections import serial_levels

pytestmark = pytest.mark.quick

CABIN: dict[str, Any] = {
    "clock": "1 MHz",
    "slot": {
        "levers": {"model": "gpio", "base": 0x1000, "size": 0x100, "wait": 0},
        "clock": {"model": "timer", "base": 0x2000, "size": 0x20, "wait": 0},
        "telegraph": {"model": "uart", "base": 0x3000, "size": 0x10, "wait": 0, "divisor": 4},
        "next": {"model": "uart", "base": 0x4000, "size": 0x10, "wait": 0, "divisor": 4},
    },
}


def run(tmp_path: Path, steps: str, until: int | None = None, **keys: Any) -> Recording:
    """Run steps in the cabin."""
    (tmp_path / "evening.steps").write_text(steps, encoding="utf-8")
    bench = Bench(CABIN | keys | {"traffic": {"file": "evening.steps"}}, folder=tmp_path)
    return bench.run(until=until)


def level(at: int, value: int, pin: str = "levers.in.4") -> dict[str, Any]:
    """Return an input."""
    return {"at": at, "pin": pin, "level": value}


def starts(recording: Recording) -> list[int]:
    """Return the cycles in which accesses were raised."""
    return [int(cycle) for cycle in recording.accesses.start]


def steps_of(recording: Recording) -> list[int]:
    """Return the step of each access."""
    return [int(step) for step in recording.accesses.step]


# Await (rule 12a).


@pytest.mark.parametrize("at", [0, 1, 2, 7, 8])
def test_an_await_goes_on_after_the_first_cycle_that_shows_the_level(
    at: int, tmp_path: Path
) -> None:
    """With the level from cycle t = max(at, F) on, the next access is raised in t + 1 + wait."""
    recording = run(
        tmp_path,
        "write levers.OUT 1\nawait levers.in.4 1\nread levers.IN +3\n",
        input=[level(at, 1)],
    )
    # The write ends in 1, so F = 2: an earlier level is seen in cycle 2.
    assert starts(recording) == [1, max(at, 2) + 1 + 3]
    assert recording.findings == ()


@pytest.mark.parametrize(("at", "start", "found"), [(5, 6, 0), (6, 7, 0), (7, 7, 1), (8, 7, 1)])
def test_an_await_looks_at_its_pin_in_so_many_cycles(
    at: int, start: int, found: int, tmp_path: Path
) -> None:
    """``limit 5`` from F = 2 looks at the cycles 2 to 6; the next step may use cycle 7."""
    recording = run(
        tmp_path,
        "write levers.OUT 1\nawait levers.in.4 1 limit 5\nread levers.IN\n",
        input=[level(at, 1)],
    )
    assert starts(recording) == [1, start]
    assert [finding.rule for finding in recording.findings] == ["poll-timeout"] * found


def test_an_await_sees_an_output_in_the_cycle_in_which_it_moves(tmp_path: Path) -> None:
    """DATA written in 1: tx falls in 3, seen in 3; bit 0 of 0x01 rises it in 7, seen in 7."""
    steps = (
        "write telegraph.DATA 1\nawait telegraph.tx 0\nread levers.IN\n"
        "await telegraph.tx 1\nread levers.IN\n"
    )
    assert starts(run(tmp_path, steps)) == [1, 4, 8]


# The step reset (rule 12b).


@pytest.mark.parametrize("wait", [0, 1, 5])
def test_a_reset_step_holds_rst_for_one_cycle_and_goes_on(wait: int, tmp_path: Path) -> None:
    """Write in 1, F = 2, RST in r = 2 + wait, the next access in r + 2 with every register reset."""
    recording = run(tmp_path, f"write levers.OUT 1\nreset +{wait}\nread levers.OUT\n")
    assert recording.resets == ((2 + wait, 1),)
    assert starts(recording) == [1, 4 + wait]
    assert int(recording.accesses.data[1]) == 0
    cycles, levels = recording.edges("levers.out.0")
    # A reset in the very cycle in which the pin has moved: it shows its reset level one cycle later.
    assert (cycles.tolist(), levels.tolist()) == ([0, 2, 3 + wait], [0, 1, 0])


def test_a_reset_step_cuts_the_byte_that_is_sent(tmp_path: Path) -> None:
    """The line goes back to 1 in r + 1, and the text lacks the byte."""
    recording = run(tmp_path, "write telegraph.DATA 0\nreset +9\n")
    cycles, levels = recording.edges("telegraph.tx")
    assert (cycles.tolist(), levels.tolist()) == ([0, 3, 12], [1, 0, 1])
    assert recording.texts["telegraph"] == ""


@pytest.mark.parametrize(
    ("at", "resets", "start"),
    [
        # In the wait: the step has not begun. F = 6, so r = 12.
        (4, ((4, 1), (12, 1)), 14),
        # In the very cycle r = 8: it counts instead.
        (8, ((8, 1),), 10),
        # In the cycle after it: a reset of its own. F = 11.
        (9, ((8, 1), (9, 1)), 11),
    ],
)
def test_a_reset_of_the_bench_around_a_reset_step(
    at: int, resets: tuple[tuple[int, int], ...], start: int, tmp_path: Path
) -> None:
    """Write in 1, F = 2, r = 8: what a reset in the cycles before, of and after r comes to."""
    steps = "write levers.OUT 1\nreset +6\nread levers.OUT\n"
    recording = run(tmp_path, steps, reset=[{"at": at}], after_reset="continue")
    assert recording.resets == resets
    assert starts(recording) == [1, start]


# Handlers (rule 12c).

HANDLER = "handler pull on levers.in.4 enter 3 leave 2\n  write levers.TOGGLE 2\nend\n"


def test_a_handler_is_taken_inside_a_wait_and_the_rest_of_the_wait_follows(tmp_path: Path) -> None:
    """Taken in 10: its access in 14, b = 17; the step that was 12 cycles away is at 17 + 12."""
    recording = run(
        tmp_path,
        HANDLER + "write levers.OUT 1\nread levers.IN +20\n",
        input=[level(10, 1), level(12, 0)],
    )
    # F = 2, s would be 22; t = 10, F_h = 10 + 1 + 3 = 14, e = 14, F = 15, b = 15 + 2 = 17.
    assert starts(recording) == [1, 14, 29]
    assert steps_of(recording) == [0, 2, 1]


def test_a_pin_that_stays_high_calls_again_in_the_cycle_of_return(tmp_path: Path) -> None:
    """Cycle b = 17 takes the handler again while its pin is high; b = 24 finds it low."""
    recording = run(
        tmp_path,
        HANDLER + "write levers.OUT 1\nread levers.IN +20\n",
        input=[level(10, 1), level(18, 0)],
    )
    assert starts(recording) == [1, 14, 21, 24 + 12]


def test_a_handler_is_not_taken_in_the_cycle_in_which_an_access_is_raised(tmp_path: Path) -> None:
    """Between accesses back to back there is no cycle for it; it comes after the last one."""
    recording = run(
        tmp_path,
        HANDLER + "write levers.OUT 1\nwrite levers.OUT 1\nwrite levers.OUT 1\npause 9\n",
        input=[level(1, 1), level(6, 0)],
    )
    # Accesses in 1, 2, 3; the pause begins in 4: t = 4, F_h = 8; b = 11, and the pause has 9 left.
    assert starts(recording) == [1, 2, 3, 8]
    assert recording.cycles == 11 + 9 + 1


def test_a_pause_goes_on_after_a_handler(tmp_path: Path) -> None:
    """Taken in 5, in the fourth cycle of a pause of 10: seven cycles are left after b = 12."""
    recording = run(
        tmp_path,
        HANDLER + "write levers.OUT 1\npause 10\nread levers.IN\n",
        input=[level(5, 1), level(7, 0)],
    )
    # The pause runs in 2 .. 11; t = 5, F_h = 9, b = 12; cycles 5 .. 11 are 7: the read is in 19.
    assert starts(recording) == [1, 9, 19]


def test_no_handler_is_taken_before_the_first_cycle_after_a_reset(tmp_path: Path) -> None:
    """RST in r = 5; cycle 6 plays the part of cycle 0; the handler is taken in F = 7, not before."""
    recording = run(
        tmp_path,
        HANDLER + "write levers.OUT 1\nreset +3\npause 9\n",
        input=[level(5, 1), level(9, 0)],
    )
    # The access in 7 + 1 + 3 = 11; b = 12 + 2 = 14, and the pause has its 9 cycles before it.
    assert starts(recording) == [1, 11]
    assert recording.cycles == 14 + 9 + 1


def test_a_handler_between_two_reads_of_a_poll(tmp_path: Path) -> None:
    """The next read of the poll keeps its distance, and the poll its count."""
    recording = run(
        tmp_path,
        HANDLER + "poll levers.IN & 1 == 1 every 6 limit 3\n",
        input=[level(4, 1), level(6, 0)],
    )
    # Reads in 1 and 8 (t = 4 is 4 cycles before); F_h = 8, b = 11, so 11 + 4 = 15, then 22.
    assert starts(recording) == [1, 8, 15, 22]
    assert steps_of(recording) == [0, 1, 0, 0]
    assert [finding.rule for finding in recording.findings] == ["poll-timeout"]


def test_an_await_looks_again_after_a_handler(tmp_path: Path) -> None:
    """A level that comes while the handler runs is seen in cycle b, not before."""
    recording = run(
        tmp_path,
        HANDLER + "await levers.in.5 1 limit 8\nread levers.IN\n",
        input=[level(4, 1), level(6, 0), level(7, 1, "levers.in.5")],
    )
    # The await looks at 1, 2, 3; t = 4; F_h = 8; b = 11: it looks at 11, sees it; the read is in 12.
    assert starts(recording) == [8, 12]
    assert recording.findings == ()


def test_the_cycles_of_an_await_that_a_handler_took_are_not_lost(tmp_path: Path) -> None:
    """Three of eight cycles were looked at before; five follow from b = 11 on: 11 to 15."""
    recording = run(
        tmp_path,
        HANDLER + "await levers.in.5 1 limit 8\nread levers.IN\n",
        input=[level(4, 1), level(6, 0)],
    )
    assert starts(recording) == [8, 16]
    assert [finding.rule for finding in recording.findings] == ["poll-timeout"]


def test_a_handler_after_the_last_step_runs_while_the_run_goes_on(tmp_path: Path) -> None:
    """A byte is still being sent: the pin is served; the run ends when both are over."""
    recording = run(
        tmp_path, HANDLER + "write telegraph.DATA 0\n", input=[level(20, 1), level(22, 0)]
    )
    # The line falls in 3, TX_BUSY until 42; t = 20, access in 24, b = 27; at rest in 43.
    assert starts(recording) == [1, 24]
    assert recording.cycles == 44


def test_the_first_of_two_handlers_goes_first(tmp_path: Path) -> None:
    """Both pins are high: the one that stands first in the traffic is taken, then the other."""
    steps = (
        "handler one on levers.in.5\n  write levers.SET 1\nend\n"
        "handler two on levers.in.4\n  write levers.SET 2\nend\n"
        "pause 5\n"
    )
    inputs = [level(2, 1), level(2, 1, "levers.in.5"), level(3, 0, "levers.in.5"), level(5, 0)]
    recording = run(tmp_path, steps, input=inputs)
    # t = 2: access in 3, b = 4; t = 4: access in 5, b = 6.
    assert starts(recording) == [3, 5]
    assert recording.accesses.data.tolist() == [1, 2]


def test_a_timers_ring_calls_a_handler_that_silences_it(tmp_path: Path) -> None:
    """NOW == ALARM in 30: RANG and ring from 31 on; taken in 31; the clear silences it."""
    steps = (
        "handler tick on clock.ring enter 1\n  write clock.STATUS 1\nend\n"
        "write clock.CONTROL 1\nwrite clock.ALARM 30\npause 40\nread clock.STATUS = 0\n"
    )
    recording = run(tmp_path, steps)
    # The pause runs in 3 .. 42; t = 31, access in 33, b = 34; 12 cycles are left: the read is in 46.
    assert starts(recording) == [1, 2, 33, 46]
    cycles, levels = recording.edges("clock.ring")
    assert (cycles.tolist(), levels.tolist()) == ([0, 31, 34], [0, 1, 0])
    assert recording.findings == ()


# Resets of the bench meet handlers and awaits (rule 12d).


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        # In cycle 9 the wait goes on as if no handler had ever been: F = 11, s = 11 + 20.
        (9, [1, 31]),
        # The handler was taken in 10 and is abandoned in 12; its access is never raised.
        (12, [1, 34]),
        # In cycle 14 its access would be raised: recorded as cut off, and the handler abandoned.
        (14, [1, 14, 36]),
        # In cycle 16 it is leaving.
        (16, [1, 14, 38]),
    ],
)
def test_a_reset_of_the_bench_abandons_a_handler(
    at: int, expected: list[int], tmp_path: Path
) -> None:
    """With "continue" the step that waited has not begun: it waits anew from F = at + 2."""
    recording = run(
        tmp_path,
        HANDLER + "write levers.OUT 1\nread levers.IN +20\n",
        input=[level(10, 1), level(11, 0)] if at > 9 else [],
        reset=[{"at": at}],
        after_reset="continue",
    )
    assert starts(recording) == expected


def test_a_reset_step_in_a_handler_abandons_nothing(tmp_path: Path) -> None:
    """RST in 11, the handler's next access in 13, and the rest of the main wait after b = 14."""
    steps = (
        "handler pull on levers.in.4\n  reset\n  write levers.SET 1\nend\n"
        "write levers.OUT 2\nread levers.OUT +20\n"
    )
    recording = run(tmp_path, steps, input=[level(10, 1), level(11, 0)])
    assert starts(recording) == [1, 13, 14 + 12]
    assert recording.resets == ((11, 1),)
    assert int(recording.accesses.data[2]) == 1


def test_a_handler_that_clears_nothing_ends_the_run(tmp_path: Path) -> None:
    """Taken in 10, 12, 14 ...: cycle 50 is the first b that lies hang_after cycles after the first."""
    recording = run(
        tmp_path,
        "handler pull on levers.in.4\n  write levers.SET 1\nend\nread levers.OUT +20\n",
        input=[level(10, 1)],
        until=200,
        hang_after=40,
    )
    assert (recording.ended, recording.cycles) == ("hang", 51)
    assert starts(recording) == list(range(11, 50, 2))
    (finding,) = recording.findings
    assert (finding.rule, finding.cycle, finding.access) == ("bus-hang", 50, -1)
    assert finding.message == (
        "handler pull ran back to back for 40 cycles (the limit hang_after) because levers.in.4 "
        "stays high: the main program never resumes; the run ends here."
    )


def test_a_handler_after_the_last_step_puts_the_end_off(tmp_path: Path) -> None:
    """A uart that sends on is waited for until b - 1 + settle, where b = 12 is the handler's end."""
    recording = run(
        tmp_path,
        "handler pull on levers.in.4\n  read levers.IN\nend\nwrite telegraph.DATA 1\n",
        input=[level(10, 1), level(11, 0)],
        settle=30,
    )
    assert starts(recording) == [1, 11]
    assert (recording.ended, recording.cycles) == ("settle", 12 - 1 + 30 + 1)


@pytest.mark.parametrize("after", ["restart", "continue"])
def test_a_reset_cuts_an_await_off(after: str, tmp_path: Path) -> None:
    """Restarted, the steps are played again; continued, the step after the await follows."""
    recording = run(
        tmp_path,
        "write levers.OUT 1\nawait levers.in.4 1 limit 9\nread levers.IN\n",
        reset=[{"at": 6, "length": 2}],
        after_reset=after,
    )
    # F = 6 + 2 + 1 = 9.
    expected = {"restart": [1, 9, 10 + 9], "continue": [1, 9]}
    assert starts(recording) == expected[after]


# Wires (rule 12f), serial inputs, replies.


def test_a_wire_brings_a_level_in_the_same_cycle(tmp_path: Path) -> None:
    """An output that moves in 2 is on the input in 2, in IN in 4, in EVENTS in 5."""
    steps = "write levers.RISE 2\nwrite levers.OUT 1\n" + "read levers.IN\nread levers.EVENTS\n" * 3
    recording = run(tmp_path, steps, wire=[{"from": "levers.out.0", "to": "levers.in.1"}])
    # OUT written in 2 moves in 3: IN shows it in 5, EVENTS in 6; reads stand in 3, 4, 5, 6, 7, 8.
    assert recording.accesses.data.tolist()[2:] == [0, 0, 2, 2, 2, 2]
    assert recording.edges("levers.in.1")[0].tolist() == [0, 3]


def test_a_released_output_leaves_the_wired_input_undriven(tmp_path: Path) -> None:
    """rx of the next cabin falls when the pin drives 0, and is 1 again when it is released."""
    steps = "write levers.ENABLE 0 +3\n"
    recording = run(tmp_path, steps, wire=[{"from": "levers.out.0", "to": "next.rx"}])
    cycles, levels = recording.edges("next.rx")
    # Driven 0 from cycle 0 on; released by the write in 4, from 5 on.
    assert (cycles.tolist(), levels.tolist()) == ([0, 5], [0, 1])
    cycles, levels = recording.edges("levers.out.0")
    assert (cycles.tolist(), levels.tolist()) == ([0, 5], [0, 2])


def test_a_telegraph_reaches_the_next_cabin_over_a_wire(tmp_path: Path) -> None:
    """What one serial port sends, the other receives, while the CPU does something else."""
    steps = "write telegraph.DATA 0x41\npause 80\nread next.STATUS = 5\nread next.DATA = 0x41\n"
    recording = run(tmp_path, steps, wire=[{"from": "telegraph.tx", "to": "next.rx"}])
    assert recording.findings == ()


def test_ready_comes_after_the_last_sample_of_a_wired_byte(tmp_path: Path) -> None:
    """D = 4: the line falls in 3, synchronised in 5, stop sample in 5 + 2 + 36 = 43."""
    wire = [{"from": "telegraph.tx", "to": "next.rx"}]
    for wait, status in ((41, 1), (42, 5)):
        steps = f"write telegraph.DATA 0x41\nread next.STATUS = {status} +{wait}\n"
        recording = run(tmp_path, steps, wire=wire)
        assert starts(recording)[1] == 2 + wait
        assert recording.findings == (), wait


def test_bytes_on_an_input_are_received(tmp_path: Path) -> None:
    """Text and numbers, at a rate and with a spacing; every byte is read in time."""
    steps = "".join(f"poll next.STATUS & 4 == 4\nread next.DATA = {byte}\n" for byte in b"ok\xff")
    rate = {"rate": 250_000, "spacing": "3 us"}
    text = run(tmp_path, steps, input=[{"at": 9, "pin": "next.rx", "bytes": "ok\xff", **rate}])
    assert text.findings == ()
    codes = [111, 107, 255]
    listed = run(tmp_path, steps, input=[{"at": 9, "pin": "next.rx", "bytes": codes, **rate}])
    assert listed.edges("next.rx")[0].tolist() == text.edges("next.rx")[0].tolist()
    # 4 cycles a bit: o = 0x6f starts in 9; k = 0x6b starts 40 + 3 cycles later, and falls there.
    assert {9, 52} <= set(text.edges("next.rx")[0].tolist())


def test_a_reply_begins_its_delay_after_the_stop_bit_of_the_text(tmp_path: Path) -> None:
    """ "?" falls in 3, its stop bit ends with cycle 42; with a delay of 7 the reply falls in 50."""
    steps = "write telegraph.DATA 0x3f\nawait telegraph.rx 0 limit 200\nread levers.IN\n"
    reply = [{"of": "telegraph", "after_text": "?", "send": "y", "delay": 7, "rate": 250_000}]
    recording = run(tmp_path, steps, reply=reply)
    assert recording.edges("telegraph.rx")[0].tolist()[1] == 50
    assert starts(recording) == [1, 51]


def test_a_reply_may_share_its_cycle_with_a_level_of_the_board(tmp_path: Path) -> None:
    """The reply falls in cycle 50, and the board moves lever 1 in it: both arrive."""
    steps = "write telegraph.DATA 0x3f\npause 200\n"
    recording = run(
        tmp_path,
        steps,
        reply=[{"of": "telegraph", "after_text": "?", "send": "y", "delay": 7, "rate": 250_000}],
        input=[level(1, 1, "levers.in.0"), level(50, 1, "levers.in.1")],
    )
    assert recording.edges("telegraph.rx")[0][1] == 50
    assert recording.edges("levers.in.1")[0][1] == 50


def test_a_reset_before_the_end_of_the_text_keeps_the_reply_away(tmp_path: Path) -> None:
    """A byte that was cut is no text: nobody answers it."""
    steps = "write telegraph.DATA 0x3f\nawait telegraph.rx 0 limit 99\nread levers.IN\n"
    reply = [{"of": "telegraph", "after_text": "?", "send": "y"}]
    recording = run(tmp_path, steps, reply=reply, reset=[{"at": 30}], after_reset="continue")
    assert recording.edges("telegraph.rx")[0].tolist() == [0]


# Bytes from outside at a rate that the clock is no multiple of.


@pytest.mark.parametrize(("clock", "rate"), [(16_000_000, 115_200), (1_000_000, 76_800), (7, 3)])
def test_every_edge_of_a_byte_is_rounded_from_its_start(clock: int, rate: int) -> None:
    """U alternates in every bit: edge k comes ceil(k x clock / rate) after the start, without drift."""
    edges = list(serial_levels(b"UU", 10, clock, rate))
    exact = [10 + -(-k * clock // rate) for k in range(20)]
    assert edges == [(cycle, k % 2) for k, cycle in enumerate(exact)]


@pytest.mark.parametrize("rate", [115_200, 57_600, 76_800])
def test_bytes_from_outside_arrive(rate: int, tmp_path: Path) -> None:
    """With the nearest divisor, a byte sent at a rate that 16 MHz is no multiple of is read."""
    divisor = round(16_000_000 / rate)
    recording = run(
        tmp_path,
        f"write telegraph.DIVISOR {divisor}\n"
        "poll telegraph.STATUS & 4 == 4 every 40 limit 200\nread telegraph.DATA\n",
        input=[{"at": 100, "pin": "telegraph.rx", "bytes": "S", "rate": rate}],
        clock="16 MHz",
    )
    assert recording.accesses.data[-1] == ord("S")
    assert not recording.findings
