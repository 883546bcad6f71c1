"""The rules about registers, memories, receive, rates, interrupts: mistakes and near misses."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox.bench.bench import Bench
from busbox.device import RegisterModel
from busbox.map.registers import Register, RegisterTable
from busbox.recording import Recording

CABIN: dict[str, Any] = {
    "clock": "16 MHz",
    "slot": {
        "levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000, "width": 8},
        "telegraph": {"model": "uart", "base": 0x4000_1000, "size": 0x1000, "divisor": 4},
        "clock": {"model": "timer", "base": 0x4000_2000, "size": 0x1000},
        "lamps": {"model": "pulse_led", "base": 0x4400_0000, "size": 0x1000, "lamps": 2,
                  "compare": "31..24"},
        "book": {"model": "memory", "base": 0x2000_0000, "size": 0x100},
        "page": {"model": "memory", "base": 0x3000_0000, "size": 0x100, "kind": "rom"},
    },
}  # fmt: skip


class Points(RegisterModel):
    """Moves the points, as a whole word says."""

    table = RegisterTable(Register("WORD", 0, "wo", "All points.", whole=0b1111))


class Dial(RegisterModel):
    """Shows something, and takes nothing."""

    table = RegisterTable(Register("SHOWN", 0, "ro", "What it shows."))

    def show_SHOWN(self) -> int:
        """Show nothing."""
        return 0


def run(tmp_path: Path, steps: str, **keys: Any) -> Recording:
    """Run steps in the cabin."""
    file = tmp_path / "evening.steps"
    file.write_text(steps, encoding="utf-8")
    return Bench(CABIN | keys | {"traffic": {"file": str(file)}}).run()


#: Traffic, and the rules that it breaks: (rule, access, register); the near misses break none.
CASES: list[tuple[str, list[tuple[str, int, str]]]] = [
    ("write lamps.COUNT 1\nwrite 0x44001008 1\n", [("image-access", 1, "lamps.COUNT")]),
    ("read 0x44000008\nread 0x44fff008\n", [("image-access", 1, "lamps.COUNT")]),
    ("read 0x40000024\n", [("register-hole", 0, "levers.0x24")]),
    ("write 0x40000ffc 1\n", [("register-hole", 0, "levers.0xffc")]),
    ("read 0x44001014\n", [("image-access", 0, "lamps.0x14"), ("register-hole", 0, "lamps.0x14")]),
    ("write 0x20000000 1\nread 0x20000000\n", []),
    ("write levers.IN 1\n", [("read-only-write", 0, "levers.IN")]),
    ("write clock.NOW 0\n", [("read-only-write", 0, "clock.NOW")]),
    ("write telegraph.STATUS 0x20\nwrite lamps.STATUS 2\n", []),
    ("read levers.SET\n", [("write-only-read", 0, "levers.SET")]),
    ("read levers.OUT\nread telegraph.DATA\n", []),
    ("write telegraph.DATA 0x4100 lanes 0010\n", [("lanes-lost", 0, "telegraph.DATA")]),
    ("write telegraph.DATA 0x41 lanes 0001\nwrite levers.OUT 1 lanes 0001\n", []),
    ("write levers.OUT 0x100\n", [("reserved-bits", 0, "levers.OUT")]),
    ("write levers.OUT 0xff\nwrite levers.OUT 0x101 lanes 0001\n", []),
    ("write lamps.COLOUR.0 0x01000000\n", [("reserved-bits", 0, "lamps.COLOUR.0")]),
    ("write lamps.CONTROL 4\n", [("reserved-bits", 0, "lamps.CONTROL")]),
    ("read 0x20000004\n", [("uninitialised-read", 0, "book.WORD.1")]),
    ("write 0x20000004 0 lanes 0001\nread 0x20000004\n", []),
    ("write 0x30000008 1\n", [("rom-write", 0, "page.WORD.2")]),
]


@pytest.mark.parametrize(("steps", "wanted"), CASES, ids=[steps.strip() for steps, _ in CASES])
def test_each_rule_finds_its_mistake_and_no_other(
    steps: str, wanted: list[tuple[str, int, str]], tmp_path: Path
) -> None:
    """The rule, the access and the register; traffic that is only near a mistake finds nothing."""
    recording = run(tmp_path, steps)
    found = [(one.rule, one.access, f"{one.slot}.{one.register}") for one in recording.findings]
    assert sorted(found) == sorted(wanted)
    for rule, access, _ in wanted:
        (one,) = (finding for finding in recording.findings if finding.rule == rule)
        assert one.cycle == int(recording.accesses.end[access])
        assert one.line == access + 1
        assert one.message.endswith(".")
        assert one.hint.endswith(".")


MESSAGES = {
    "write 0x44001008 1\n": (
        "write of 0x1 to lamps.COUNT (0x44001008): image 1 of lamps answers here, because the "
        "decoder compares only bits 31..24.",
        "Use the address 0x44000008 in the firmware, or make the decoder compare more bits.",
    ),
    "read 0x40000024\n": (
        "read of levers+0x24 (0x40000024): levers has no register at offset 0x24; the read returns 0. "
        "The nearest is EVENTS at offset 0x20.",
        "Compare the offset in the firmware with the registers of levers (busbox models).",
    ),
    "write levers.IN 1\n": (
        "write of 0x1 to levers.IN (0x40000010): every bit of this register is read-only; the write "
        "does nothing.",
        "Remove the write, or write to the register you meant (OUT, SET, CLEAR, TOGGLE, ENABLE, RISE, "
        "FALL or EVENTS).",
    ),
    "read levers.SET\n": (
        "read of levers.SET (0x40000004): no bit of this register can be read; the read returns 0.",
        "Read the register that shows the state (OUT, IN, ENABLE, RISE, FALL or EVENTS), or keep a "
        "copy of what was written in the firmware, and change that.",
    ),
    "write telegraph.DATA 0x4100 lanes 0010\n": (
        "write of 0x4100 to telegraph.DATA (0x40001000) with lanes 0010 (byte 1 of the word): this "
        "register acts only on lanes 0001 (byte 0); the write does nothing.",
        "Store the whole word at 0x40001000, or only byte 0 of it.",
    ),
    "write lamps.CONTROL 5\n": (
        "write of 0x5 to lamps.CONTROL (0x44000000): bits 0x4 do not exist in this register; they "
        "are ignored and 0x1 is written.",
        "It implements SEND 0, REPEAT 1; check whether the value is too large or shifted.",
    ),
    "read 0x20000004\n": (
        "book.WORD.1 (0x20000004) was read before anything was written to it; it returns 0 here.",
        "Write it first (start-up code that clears and copies variables does), or give book its "
        "contents in the bench (file = ...).",
    ),
    "write 0x30000008 1\n": (
        "page is a ROM: the write to page.WORD.2 (0x30000008) does nothing.",
        'Move what is written to a RAM (linker script), or make the slot kind = "ram".',
    ),
}


@pytest.mark.parametrize("steps", sorted(MESSAGES))
def test_each_message_says_what_happened_and_one_thing_to_try(steps: str, tmp_path: Path) -> None:
    """The whole text of message and hint."""
    (finding,) = run(tmp_path, steps).findings
    assert (finding.message, finding.hint) == MESSAGES[steps]


@pytest.mark.parametrize(("reads", "found"), [(4, []), (5, [4]), (9, [4])])
def test_a_poll_storm_is_one_finding_at_the_first_read_too_many(
    reads: int, found: list[int], tmp_path: Path
) -> None:
    """With poll_storm = 4 the fifth read of one register in a row is one too many."""
    steps = "write levers.OUT 1\n" + "read levers.IN\n" * reads + "read levers.OUT\n"
    recording = run(tmp_path, steps, poll_storm=4)
    assert [one.access - 1 for one in recording.findings] == found
    assert [one.rule for one in recording.findings] == ["poll-storm"] * len(found)


@pytest.mark.parametrize("between", ["write levers.OUT 1\n", "read levers.OUT\n"])
def test_another_access_between_ends_a_storm(between: str, tmp_path: Path) -> None:
    """Four reads, something else, four reads: no storm."""
    steps = "read levers.IN\n" * 4 + between + "read levers.IN\n" * 4
    assert run(tmp_path, steps, poll_storm=4).findings == ()
    assert run(tmp_path, steps).findings == ()


def serial(data: object, rate: int) -> list[dict[str, Any]]:
    """Return bytes on the telegraph's rx at a rate (4 clocks a bit are 4 MHz)."""
    return [{"at": 20, "pin": "telegraph.rx", "bytes": data, "rate": rate}]


def test_a_byte_that_nobody_read_in_time_is_lost(tmp_path: Path) -> None:
    """The second byte comes while the first waits: byte-lost, without an access to blame."""
    recording = run(
        tmp_path, "pause 200\nread telegraph.DATA = 0x61\n", input=serial("ab", 4_000_000)
    )
    (finding,) = recording.findings
    assert (finding.rule, finding.access, finding.slot) == ("byte-lost", -1, "telegraph")
    assert finding.message == (
        "telegraph received byte 0x62 'b' before the previous byte was read: the new one is lost."
    )


def test_a_rate_that_does_not_fit_is_a_framing_finding(tmp_path: Path) -> None:
    """A zero byte at half the rate is still low where the stop bit should be."""
    recording = run(tmp_path, "pause 200\n", input=serial([0], 2_000_000))
    (finding,) = recording.findings
    assert (finding.rule, finding.access, finding.register) == ("framing", -1, "DATA")
    assert recording.counts == {"framing": {"telegraph.DATA": 1}}
    assert finding.message.endswith(
        "and dropped it; it was sampled at 16 MHz / 4 = 4,000,000 bits per second."
    )


def test_a_framing_finding_tells_the_rate_of_its_own_byte(tmp_path: Path) -> None:
    """A divisor written while the byte is under way is for the next one, and is not told."""
    steps = "write telegraph.DIVISOR 5 +30\npause 200\n"
    (finding,) = run(tmp_path, steps, input=serial([0], 2_000_000)).findings
    assert "it was sampled at 16 MHz / 4 =" in finding.message


def test_a_register_that_wants_all_lanes_is_told_no_byte(tmp_path: Path) -> None:
    """Where only the whole word acts, the hint names nothing less."""
    slots = {"points": {"model": Points, "base": 0, "size": 4}}
    (finding,) = run(tmp_path, "write 0 0x10000 lanes 0110\n", slot=slots).findings
    assert "lanes 0110 (bytes 1 and 2 of the word)" in finding.message
    assert "only on lanes 1111 (bytes 0, 1, 2 and 3)" in finding.message
    assert finding.hint == "Store the whole word at 0x00000000."


@pytest.mark.parametrize(
    ("step", "hint"),
    [
        ("write dial.SHOWN 1\n", "Remove the write: no register of dial can be written."),
        (
            "read points.WORD\n",
            "Keep a copy of what was written in the firmware, and change that.",
        ),
    ],
)
def test_a_device_without_the_other_kind_of_register_names_none(
    step: str, hint: str, tmp_path: Path
) -> None:
    """Nothing that can be written, or read, is there to be named."""
    slots = {
        "points": {"model": Points, "base": 0, "size": 4},
        "dial": {"model": Dial, "base": 4, "size": 4},
    }
    (finding,) = run(tmp_path, step, slot=slots).findings
    assert finding.hint == hint


@pytest.mark.parametrize(
    ("clock", "baud", "steps", "accesses"),
    [
        # 16 MHz / 139 = 115108: 0.08 % below 115200 (RM0390, table 149: 0.08).
        ("16 MHz", 115_200, "write telegraph.DATA 65\n", []),
        # The same divisor at 24 MHz gives half as much again.
        ("24 MHz", 115_200, "write telegraph.DATA 65\n", [0]),
        # 16 MHz / 17 = 941176: 2.12 % above 921600 (RM0390, table 149: 2.12); 18 is 3.55 % below.
        ("16 MHz", 921_600, "write telegraph.DIVISOR 17\nwrite telegraph.DATA 65\n", [0]),
        # Written before any byte: the reset value was never in force.
        ("24 MHz", 115_200, "write telegraph.DIVISOR 208\nwrite telegraph.DATA 65\n", []),
        # No byte sent: nobody heard the wrong rate.
        ("24 MHz", 115_200, "read telegraph.STATUS\n", []),
    ],
)
def test_a_divisor_for_another_clock_is_found(
    clock: str, baud: int, steps: str, accesses: list[int], tmp_path: Path
) -> None:
    """More than 2 % from the wanted rate; errors of reference manual RM0390, table 149."""
    telegraph = {"model": "uart", "base": 0x4000_1000, "size": 0x1000, "divisor": 139, "baud": baud}
    recording = run(tmp_path, steps, clock=clock, slot={"telegraph": telegraph})
    assert [(one.rule, one.access) for one in recording.findings] == [
        ("baud-error", access) for access in accesses
    ]


def test_a_baud_error_names_the_nearest_divisor(tmp_path: Path) -> None:
    """Divisor, clock, true rate, error, and what would be best."""
    telegraph = {"model": "uart", "base": 0, "size": 0x10, "divisor": 139, "baud": 115_200}
    slots = {"telegraph": telegraph}
    (finding,) = run(tmp_path, "write 0 65\n", clock="24 MHz", slot=slots).findings
    assert finding.message == (
        "telegraph.DIVISOR 139 (its reset value) at 24 MHz gives 172,662 bits per second instead of "
        "115,200 (+49.88 %)."
    )
    assert finding.hint == (
        "Write 208 to telegraph.DIVISOR before the first byte: the best divisor at this clock "
        "(+0.16 %)."
    )


@pytest.mark.parametrize(
    ("baud", "hint"),
    [
        (115_200, "Write 139 instead: the best divisor at this clock (-0.08 %)."),
        (
            921_600,
            "No divisor is close enough at this clock (best: 17, +2.12 %); choose another rate or "
            "clock.",
        ),
    ],
)
def test_a_divisor_that_was_written_is_told_a_better_one(
    baud: int, hint: str, tmp_path: Path
) -> None:
    """Where even the nearest divisor is too far off, none is recommended (RM0390, table 149)."""
    telegraph = {"model": "uart", "base": 0, "size": 0x10, "divisor": 139, "baud": baud}
    steps = "write telegraph.DIVISOR 16\nwrite telegraph.DIVISOR 9999\n"
    findings = run(tmp_path, steps, slot={"telegraph": telegraph}).findings
    assert [finding.hint for finding in findings] == [hint, hint]
    assert findings[0].message.startswith("telegraph.DIVISOR 16 at 16 MHz gives 1,000,000 bits")


@pytest.mark.parametrize(
    ("steps", "cycles"),
    [
        # EVENTS is set in 13 (level from 10); 30 cycles later nobody has looked.
        ("write levers.RISE 1\npause 60\n", [43]),
        ("write levers.RISE 1\nread levers.IN +20\npause 60\n", [54]),
        ("write levers.RISE 1\nwrite levers.EVENTS 1 +20\npause 60\n", []),
        ("write levers.RISE 1\npause 36\n", []),
    ],
)
def test_an_interrupt_that_nobody_serves_is_found(
    steps: str, cycles: list[int], tmp_path: Path
) -> None:
    """With stuck_after = 30: counted from the rise, or from the last access to the device."""
    level = [{"at": 10, "pin": "levers.in.0", "level": 1}]
    recording = run(tmp_path, steps, stuck_after=30, input=level)
    assert [(one.rule, one.cycle) for one in recording.findings] == [
        ("interrupt-stuck", cycle) for cycle in cycles
    ]


@pytest.mark.parametrize(
    ("steps", "pin", "hint"),
    [
        (
            "write levers.RISE 1\npause 99\n",
            "levers.interrupt",
            "high while EVENTS is not 0; write 1 to a bit of EVENTS to clear it",
        ),
        (
            "write clock.ALARM 9\nwrite clock.CONTROL 1\npause 99\n",
            "clock.ring",
            "RANG while CONTROL.0 is 1; write 1 to STATUS.0 to clear RANG",
        ),
    ],
)
def test_a_stuck_interrupt_says_what_ends_it(
    steps: str, pin: str, hint: str, tmp_path: Path
) -> None:
    """The hint is the text of the pin; the message names the key of the bench."""
    level = [{"at": 10, "pin": "levers.in.0", "level": 1}]
    (finding,) = run(tmp_path, steps, stuck_after=30, input=level).findings
    assert finding.message.startswith(f"{pin} has been high since cycle ")
    assert finding.message.endswith("the bench allows 30 (stuck_after).")
    assert finding.hint == f"Make the interrupt handler clear what holds it high ({hint})."
