"""Each rule: the mistake that raises it, where, in which words, and what does not raise it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import Module

from busbox.bench.bench import Bench
from busbox.bus.wishbone.outlet import Outlet
from busbox.device import Answer, BusAccess, Hold, RegisterModel
from busbox.findings import KEPT
from busbox.formats.files import read_traffic
from busbox.map.registers import Register, RegisterTable
from busbox.plugins import RULES, find
from busbox.recording import Recording

pytestmark = pytest.mark.quick

CABIN: dict[str, Any] = {
    "clock": "16 MHz",
    "slot": {
        "levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000},
        "telegraph": {"model": "uart", "base": 0x4000_1000, "size": 0x1000, "divisor": 4},
        "lamps": {"model": "pulse_led", "base": 0x4400_0000, "size": 0x1000, "lamps": 2},
    },
}


class Silent(RegisterModel):
    """Never answers."""

    table = RegisterTable(Register("WORD", 0))

    def access(self, access: BusAccess) -> Answer:
        """Hold for ever."""
        return Hold()


def run(tmp_path: Path, steps: str, **keys: Any) -> Recording:
    """Run steps in the cabin."""
    file = tmp_path / "evening.steps"
    file.write_text(steps, encoding="utf-8")
    return Bench(CABIN | keys | {"traffic": {"file": str(file)}}).run()


def told(recording: Recording) -> list[tuple[Any, ...]]:
    """Return the findings without their sentences."""
    return [
        (f.rule, f.cycle, f.access, f.slot, f.register, f.line, f.pc) for f in recording.findings
    ]


def test_every_rule_has_a_page_and_a_test() -> None:
    """A rule's docstring says what it means; a test here, of the board or of the run names each."""
    here = Path(__file__).parent
    folders = here, here.parent / "board", here.parent / "run"
    files = [file for folder in folders for file in folder.glob("test_*.py")]
    texts = "".join(file.read_text(encoding="utf-8") for file in files)
    for rule in RULES.built_in:
        assert len(find(RULES, rule).__doc__ or "") > 40, rule
        assert f'"{rule}"' in texts, rule


def test_an_unmapped_access_names_the_nearest_slot_and_register(tmp_path: Path) -> None:
    """ERR in s + 1, the address, the slot nearest to it, and the register at the same offset."""
    recording = run(tmp_path, "write levers.OUT 1\nwrite 0x44001008 7 pc 0x1f4\n")
    assert told(recording) == [("unmapped-access", 4, 1, "", "", 2, 0x1F4)]
    (finding,) = recording.findings
    assert finding.message == (
        "write of 0x7 to 0x44001008: no slot answers at this address; the write is lost."
    )
    assert finding.hint == (
        "The nearest slot is lamps at 0x44000000..0x44000fff; the same offset there is lamps.COUNT "
        "(0x44000008). Use the same base address in the bench and in the firmware."
    )
    assert recording.counts == {"unmapped-access": {"0x44001008": 1}}


def test_a_watchdog_that_ends_an_access_is_no_answer(tmp_path: Path) -> None:
    """The rule is named after what ended the access, in cycle s + watchdog."""
    silent = {"unanswered": "silence", "watchdog": 9}
    recording = run(tmp_path, "read 0x50000000 = 3\n", fabric=silent)
    assert told(recording) == [("no-answer", 10, 0, "", "", 1, -1)]
    assert recording.findings[0].message == (
        "read of 0x50000000: unanswered for 9 cycles; the watchdog ended it with ERR, and the read "
        "returns 0. No slot decodes it."
    )


def test_a_device_that_holds_into_the_watchdog_is_named(tmp_path: Path) -> None:
    """The message names the device that did not answer."""
    slots = CABIN["slot"] | {"points": {"model": Silent, "base": 0x5000_0000, "size": 4}}
    recording = run(tmp_path, "write points.WORD 1\n", slot=slots, fabric={"watchdog": 9})
    assert told(recording) == [("no-answer", 10, 0, "points", "WORD", 1, -1)]
    assert recording.findings[0].hint == (
        "Check what points waits for; give the watchdog more cycles if it needs longer."
    )


def test_an_access_that_nothing_ends_hangs_the_bus(tmp_path: Path) -> None:
    """The run ends in cycle s + hang_after, with the access that hangs recorded as it stands."""
    recording = run(
        tmp_path,
        "read levers.IN\nread 0x50000000\nread levers.IN\n",
        fabric={"unanswered": "silence"},
        hang_after=50,
    )
    assert recording.ended == "hang"
    assert told(recording) == [("bus-hang", 53, 1, "", "", 2, -1)]
    assert recording.cycles == 54
    assert recording.accesses.terminators == ["ack", "none"]
    assert "for 50 cycles (the limit hang_after)" in recording.findings[0].message


def test_a_read_that_differs_tells_the_fields(tmp_path: Path) -> None:
    """Both words, the fields that differ, counted under the register."""
    steps = "write telegraph.DATA 65\nread telegraph.STATUS = 1\nread telegraph.STATUS = 3\n"
    recording = run(tmp_path, steps)
    assert told(recording) == [("read-differs", 4, 1, "telegraph", "STATUS", 2, -1)]
    assert recording.findings[0].message == (
        "read of telegraph.STATUS (0x40001004) returned 0x3, but 0x1 was recorded "
        "(TX_BUSY is 1, was 0)."
    )
    assert recording.counts == {"read-differs": {"telegraph.STATUS": 1}}


@pytest.mark.parametrize(
    "steps",
    [
        "write levers.OUT 0x1234\nread levers.OUT = 0x1234\n",
        "write levers.OUT 0x1234\nread levers.OUT = 0xff34 lanes 0001\n",
        "write levers.OUT 0x1234\nread levers.OUT\n",
        "write levers.OUT 0x1234\nread levers.OUT = 7 lanes 0000\n",
    ],
)
def test_a_read_is_compared_under_its_lanes_only(steps: str, tmp_path: Path) -> None:
    """What no lane selects, and what nothing was recorded for, cannot differ."""
    assert run(tmp_path, steps).findings == ()


def test_a_read_that_ends_with_err_is_never_compared(tmp_path: Path) -> None:
    """An unmapped read is one finding, not two."""
    recording = run(tmp_path, "read 0x50000000 = 1\n")
    assert [finding.rule for finding in recording.findings] == ["unmapped-access"]


def test_a_poll_at_its_limit_says_what_it_waits_for(tmp_path: Path) -> None:
    """The last read is the one named; a poll that ends in time says nothing."""
    steps = "poll levers.IN & 0x10 == 0x10 every 3 limit 4\npoll levers.IN == 0\n"
    recording = run(tmp_path, steps)
    assert told(recording) == [("poll-timeout", 17, 3, "levers", "IN", 1, -1)]
    assert recording.findings[0].message == (
        "poll of levers.IN gave up after 4 reads: the last one returned 0x0, and (word & 0x10) == 0x10 "
        "was expected."
    )


def test_a_poll_at_its_limit_names_the_fields_that_it_waits_for(tmp_path: Path) -> None:
    """Fields of which the mask holds every bit are named with the value that is waited for."""
    steps = "poll telegraph.STATUS & 3 == 2 limit 1\n"
    (finding,) = run(tmp_path, steps).findings
    assert finding.message.endswith("(word & 0x3) == 0x2 (TX_ROOM 0, TX_BUSY 1) was expected.")


def test_a_frame_sent_while_busy_is_missed(tmp_path: Path) -> None:
    """The finding stands at the second SEND, and says how long BUSY still lasts."""
    steps = (
        "write lamps.COUNT 1\nwrite lamps.HIGH 0x20001\nwrite lamps.PERIOD 0xa0004\n"
        "write lamps.CONTROL 1\nwrite lamps.CONTROL 1\n"
    )
    recording = run(tmp_path, steps)
    assert told(recording) == [("frame-missed", 10, 4, "lamps", "CONTROL", 5, -1)]
    # The first SEND ends in 8; BUSY from 9 for 24 x 4 + 10 = 106 cycles, up to and with 114.
    assert "It stays BUSY for another 105 cycles (6.562 us)." in recording.findings[0].message


def test_a_byte_written_without_room_is_lost(tmp_path: Path) -> None:
    """The byte is named, and the text lacks it."""
    recording = run(tmp_path, "".join(f"write telegraph.DATA {ord(c)}\n" for c in "abc"))
    assert told(recording) == [("byte-lost", 6, 2, "telegraph", "DATA", 3, -1)]
    assert "byte 0x63 'c' is lost" in recording.findings[0].message
    assert recording.texts == {"telegraph": "ab"}


@pytest.mark.usefixtures("built_afresh")
def test_a_port_that_breaks_a_bus_rule_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An outlet that acknowledges without being asked is a "wishbone-rule" finding of its port."""

    def always_ready(self: Outlet, platform: object) -> Module:
        m = Module()
        m.d.comb += [self.call.eq(self.bus.cyc & self.bus.stb), self.bus.ack.eq(1)]
        return m

    monkeypatch.setattr(Outlet, "elaborate", always_ready)
    recording = run(tmp_path, "write levers.OUT 1\n")
    assert {finding.rule for finding in recording.findings} == {"wishbone-rule"}
    assert set(recording.counts["wishbone-rule"]) == {"levers", "telegraph", "lamps"}


def test_a_thousand_of_a_rule_are_kept_and_all_are_counted(tmp_path: Path) -> None:
    """Nothing is dropped without being counted."""
    recording = run(tmp_path, f"poll 0x50000000 == 1 limit {KEPT + 7}\n")
    rules = [finding.rule for finding in recording.findings]
    assert rules.count("unmapped-access") == KEPT
    assert recording.counts["unmapped-access"] == {"0x50000000": KEPT + 7}
    assert recording.counts["poll-timeout"] == {"0x50000000": 1}


def test_findings_come_in_order_of_cycle(tmp_path: Path) -> None:
    """Whatever their rule, they tell the story of the run."""
    steps = "".join(f"write telegraph.DATA {n}\nread 0x50000000\n" for n in range(4))
    cycles = [finding.cycle for finding in run(tmp_path, steps).findings]
    assert cycles == sorted(cycles)
    assert len(cycles) == 6


def test_the_traffic_of_a_good_evening_finds_nothing(tmp_path: Path) -> None:
    """No rule cries wolf on traffic that waits for room and for BUSY."""
    steps = (
        "write levers.OUT 1\nwrite telegraph.DATA 65\npoll telegraph.STATUS & 1 == 1\n"
        "write telegraph.DATA 66\nwrite lamps.COUNT 2\nwrite lamps.HIGH 0x20001\n"
        "write lamps.PERIOD 0xa0004\nwrite lamps.CONTROL 1\npoll lamps.STATUS & 1 == 0\n"
        "write lamps.CONTROL 1\n"
    )
    recording = run(tmp_path, steps)
    assert recording.findings == ()
    assert recording.counts == {}
    assert len(list(read_traffic(tmp_path / "evening.steps"))) == 10
