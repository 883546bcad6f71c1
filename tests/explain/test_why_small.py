"""``busbox why`` on small benches: what counted, what came too late, and what cannot be asked.

Every slot has wait = 0: an access raised in s ends in e = s, and the first one is raised in cycle
1. Each bench is played with the models and with their twins in Amaranth, whose stories are to be
   the same.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

import busbox
from busbox.bench.bench import Bench, load_bench
from busbox.explain.origins import Story
from busbox.explain.why import Stories
from tests.cli.saying import say

pytestmark = pytest.mark.quick

SLOTS: dict[str, dict[str, Any]] = {
    "levers": {"model": "gpio", "base": 0x1000, "size": 0x100, "wait": 0},
    "clock": {"model": "timer", "base": 0x2000, "size": 0x20, "wait": 0},
    "telegraph": {"model": "uart", "base": 0x3000, "size": 0x10, "wait": 0, "divisor": 4},
    "lamps": {
        "model": "pulse_led",
        "base": 0x10000,
        "size": 0x1000,
        "wait": 0,
        "lamps": 2,
        "compare": "19..16",
    },
}
#: One lamp of 24 bits of 4 cycles, and a gap of 4: a frame takes 100 cycles.
READY = """\
write lamps.COUNT 1
write lamps.HIGH 0x00020001
write lamps.PERIOD 0x00040004
write lamps.COLOUR.0 0x0000ff
"""


@pytest.fixture(params=["model", "hardware"])
def built(request: pytest.FixtureRequest) -> str:
    """What the slots are built with."""
    return str(request.param)


class Cabin:
    """A bench that has been run, to be asked."""

    def __init__(self, folder: Path, built: str, steps: str, **keys: Any) -> None:
        (folder / "evening.steps").write_text(steps, encoding="utf-8")
        slots = {name: dict(slot) | keys.pop(name, {}) for name, slot in SLOTS.items()}
        if built == "hardware":
            slots = {name: slot | {"as": "hardware"} for name, slot in slots.items()}
        whole = {"clock": "16 MHz", "slot": slots, "traffic": {"file": "evening.steps"}}
        bench = Bench(whole | keys, folder=folder)
        self.recording = bench.run("python")
        self.teller = Stories(bench.system(), self.recording)

    def why(self, what: str) -> Story:
        """Return the story of something."""
        return self.teller.tell(what)

    def causes(self, what: str, cycle: int) -> list[tuple[str, int]]:
        """Return (label, access) of what caused and set an edge, which must be in this cycle."""
        story = self.why(what)
        assert story.cycle == cycle
        return [
            (part.label, part.access)
            for part in story.parts
            if part.label in ("caused by", "set by", "driven by")
        ]


def test_writes_during_a_frame_count_for_the_next(tmp_path: Path, built: str) -> None:
    """COUNT, HIGH, PERIOD and COLOUR written while a frame is under way are named for the next one."""
    steps = READY + (
        "write lamps.CONTROL 1\nwrite lamps.COUNT 2 +5\nwrite lamps.HIGH 0x00030001\n"
        "write lamps.PERIOD 0x00040005\nwrite lamps.COLOUR.0 0x00ffff\nwrite lamps.CONTROL 1 +120\n"
    )
    cabin = Cabin(tmp_path, built, steps)
    # Access 4 ends in cycle 5: the frame begins in cycle 6. The last of its 24 bits begins in cycle 98.
    first = [("caused by", 4), ("set by", 3), ("set by", 1), ("set by", 2)]
    assert cabin.causes("lamps.line@6", 6) == first
    assert cabin.causes("lamps.line@98", 98) == first
    # Accesses 5 to 8 end in 11 to 14, access 9 in 15 + 120; the next frame begins in cycle 136.
    assert cabin.causes("lamps.line@136", 136) == [
        ("caused by", 9), ("set by", 8), ("set by", 6), ("set by", 7),
    ]  # fmt: skip
    # Its bits take 5 cycles; lamp 1, which the new COUNT lets be sent, has no colour of its own yet.
    second = cabin.why(f"lamps.line@{136 + 24 * 5}")
    assert second.cycle == 136 + 24 * 5
    assert "colour of lamp 1" in second.parts[2].text
    assert second.parts[2].text.endswith("lamps.COLOUR.1 had its reset value")


@pytest.mark.parametrize(("late", "named"), [(94, 6), (95, 6), (96, 4)])
def test_a_colour_counts_until_the_cycle_before_its_lamp(
    late: int, named: int, tmp_path: Path, built: str
) -> None:
    """A colour written in e counts for a lamp whose first bit is in e + 2, not for one in e + 1."""
    steps = READY.replace("COUNT 1", "COUNT 2") + "write lamps.COLOUR.1 1\nwrite lamps.CONTROL 1\n"
    # CONTROL ends in cycle 6: lamp 0 begins in cycle 7, lamp 1 in cycle 7 + 96 = 103.
    steps += f"write lamps.COLOUR.1 0xffffff +{late - 1}\n"
    cabin = Cabin(tmp_path, built, steps)
    assert cabin.recording.accesses.end[6] == 6 + late
    assert cabin.causes("lamps.line@103", 103)[1] == ("set by", named)


def test_a_register_never_written_has_its_reset_value(tmp_path: Path, built: str) -> None:
    """With HIGH and PERIOD left alone, both have their reset value, which a setting gives."""
    settings = {"count": 1, "high": 0x20001, "period": 0x40004}
    cabin = Cabin(tmp_path, built, "write lamps.CONTROL 1\n", lamps=settings)
    story = cabin.why("lamps.line@2")
    assert [part.text.rpartition(": ")[2] for part in story.parts[2:]] == [
        "lamps.COLOUR.0 had its reset value",
        "lamps.HIGH had its reset value",
        "lamps.PERIOD had its reset value",
    ]
    assert [part.access for part in story.parts[2:]] == [-1, -1, -1]


def test_after_a_reset_only_the_colours_of_before_count(tmp_path: Path, built: str) -> None:
    """What was written before a reset is not named after it, but a lamp's colour is kept."""
    steps = READY + "pause 20\nwrite lamps.COUNT 1\nwrite lamps.PERIOD 0x00040004\n"
    steps += "write lamps.HIGH 0x00020001\nwrite lamps.CONTROL 1\nwrite lamps.HIGH 0\n"
    keys = {"reset": [{"at": 10, "length": 2}], "after_reset": "continue"}
    cabin = Cabin(tmp_path, built, steps, **keys)
    control = 7
    start = int(cabin.recording.accesses.end[control]) + 1
    assert start > 12
    assert cabin.causes(f"lamps.line@{start}", start) == [
        ("caused by", control), ("set by", 3), ("set by", 6), ("set by", 5),
    ]  # fmt: skip


def test_after_a_reset_a_register_has_its_reset_value_again(tmp_path: Path, built: str) -> None:
    """HIGH and PERIOD, written before a reset only, are told as reset values after it."""
    keys = {"reset": [{"at": 10, "length": 2}], "after_reset": "continue"}
    settings = {"count": 1, "high": 0x20001, "period": 0x40004}
    cabin = Cabin(
        tmp_path, built, READY + "pause 20\nwrite lamps.CONTROL 1\n", lamps=settings, **keys
    )
    start = int(cabin.recording.accesses.end[4]) + 1
    assert start > 12
    assert cabin.causes(f"lamps.line@{start}", start) == [
        ("caused by", 4), ("set by", 3), ("set by", -1), ("set by", -1),
    ]  # fmt: skip


def test_a_reset_in_a_frame_is_no_access(tmp_path: Path, built: str) -> None:
    """The edge that a reset makes names the reset, and neither access nor register."""
    keys = {"reset": [{"at": 6, "length": 1}], "after_reset": "continue"}
    cabin = Cabin(tmp_path, built, READY + "write lamps.CONTROL 1\n", **keys)
    assert cabin.causes("lamps.line@7", 7) == [("caused by", -1)]
    assert cabin.why("lamps.line@7").parts[0].text.startswith("the reset that began in cycle 6 (")


def test_a_frame_that_follows_by_itself(tmp_path: Path, built: str) -> None:
    """With REPEAT, the second frame has the same start, but the registers as they are by then."""
    steps = READY + (
        "write lamps.CONTROL 3\nwrite lamps.HIGH 0x00030001 +5\nwrite lamps.COLOUR.0 0x00ffff\n"
        "write lamps.CONTROL 0 +120\n"
    )
    cabin = Cabin(tmp_path, built, steps)
    assert cabin.causes("lamps.line@98", 98)[1:3] == [("set by", 3), ("set by", 1)]
    assert cabin.causes("lamps.line@106", 106) == [
        ("caused by", 4), ("set by", 6), ("set by", 5), ("set by", 2),
    ]  # fmt: skip
    assert cabin.why("lamps.line@106").parts[0].text.startswith("lamps: frame in cycle 106 ")


def test_a_divisor_changed_between_bytes(tmp_path: Path, built: str) -> None:
    """The byte under way keeps its DIVISOR; the next one names the write."""
    steps = "write telegraph.DATA 0x41\nwrite telegraph.DATA 0x42 +4\nwrite telegraph.DIVISOR 6\n"
    cabin = Cabin(tmp_path, built, steps)
    # 0x41 falls in e + 2 = 3, its bit 0 comes in 7, its stop bit in 39; 0x42 falls in 43.
    assert cabin.causes("telegraph.tx@7", 7) == [("caused by", 0), ("set by", -1), ("set by", -1)]
    assert (
        "4 cycles: telegraph.DIVISOR had its reset value"
        in cabin.why("telegraph.tx@7").parts[2].text
    )
    # Bit 6 comes in 31, long after access 2 has ended in 7.
    assert cabin.causes("telegraph.tx@31", 31) == [("caused by", 0), ("set by", -1), ("set by", -1)]
    assert "had its reset value" in cabin.why("telegraph.tx@31").parts[2].text
    assert cabin.causes("telegraph.tx@43", 43) == [("caused by", 1), ("set by", -1), ("set by", 2)]
    # Bit 1 of 0x42 is the first one: two bit times of 6 after the start.
    assert cabin.why("telegraph.tx@55").parts[1].text == "bit 1 of byte 0x42"


def test_a_byte_that_waited_has_nothing_in_between(tmp_path: Path, built: str) -> None:
    """What the CPU did before the last edge is not told as done after it."""
    steps = "write telegraph.DATA 0x00\nread telegraph.STATUS\nwrite telegraph.DATA 0x42 +4\n"
    cabin = Cabin(tmp_path, built, steps)
    assert all(part.label != "in between" for part in cabin.why("telegraph.tx@43").parts)


def test_set_clear_toggle_and_a_byte(tmp_path: Path, built: str) -> None:
    """Each edge of a lever has its own write: SET, CLEAR, TOGGLE, a byte of OUT with its lanes."""
    steps = "write levers.SET 0x100\nwrite levers.SET 1\nwrite levers.CLEAR 0x100\n"
    steps += "write levers.TOGGLE 0x100\nread levers.IN\nwrite levers.OUT 0 lanes 0010\n"
    cabin = Cabin(tmp_path, built, steps)
    for cycle, access in ((2, 0), (4, 2), (5, 3), (7, 5)):
        assert cabin.causes(f"levers.out.8@{cycle}", cycle) == [("caused by", access)]
    assert cabin.causes("levers.out.0@7", 3) == [("caused by", 1)]
    assert ", lanes 0010, to levers.OUT " in cabin.why("levers.out.8@7").parts[0].text
    assert "lanes" not in cabin.why("levers.out.8@5").parts[0].text
    between = [part for part in cabin.why("levers.out.8@7").parts if part.label == "in between"]
    assert [part.text.partition(": access")[0] for part in between] == [
        "2 cycles after the previous edge: 1 access"
    ]


def test_an_input_is_driven_by_the_board(tmp_path: Path, built: str) -> None:
    """An input pin's edge has no access; the interrupt that it raises names RISE and FALL."""
    keys = {"input": [{"at": 5, "pin": "levers.in.4", "level": 1}]}
    steps = "write levers.RISE 0x10\nwrite levers.FALL 0x20\npause 20\nwrite levers.RISE 0\n"
    steps += "write levers.EVENTS 0x10\n"
    cabin = Cabin(tmp_path, built, steps, **keys)
    assert cabin.causes("levers.in.4@9", 5) == [("driven by", -1)]
    # EVENTS shows the edge of cycle c in c + 3.
    assert cabin.causes("levers.interrupt@9", 8) == [
        ("caused by", -1), ("set by", 0), ("set by", 1),
    ]  # fmt: skip
    cycle = int(cabin.recording.accesses.end[3]) + 1
    assert cabin.causes(f"levers.interrupt@{cycle}", cycle)[0] == ("caused by", 3)


def test_a_timer_rings_by_its_alarm(tmp_path: Path, built: str) -> None:
    """The edge of NOW == ALARM has no access; ALARM and CONTROL of before are named, later ones not."""
    steps = "write clock.CONTROL 1\nwrite clock.ALARM 20\npause 30\nwrite clock.ALARM 5000\n"
    steps += "write clock.STATUS 1\nread clock.NOW\n"
    cabin = Cabin(tmp_path, built, steps)
    assert cabin.causes("clock.ring@30", 21) == [("caused by", -1), ("set by", 1), ("set by", 0)]
    cycle = int(cabin.recording.accesses.end[3]) + 1
    assert cabin.causes(f"clock.ring@{cycle}", cycle)[0] == ("caused by", 3)


def test_a_first_level_has_the_start_as_its_cause(tmp_path: Path, built: str) -> None:
    """Before a pin has moved, no register is named: it has its level since the start of the run."""
    cabin = Cabin(tmp_path, built, "write clock.ALARM 20\nread clock.NOW\n")
    for pin, level in (
        ("clock.ring", 0),
        ("telegraph.tx", 1),
        ("lamps.line", 0),
        ("levers.out.3", 0),
    ):
        story = cabin.why(f"{pin}@2")
        assert story.title.startswith(
            f"{pin} has been at its initial level, {level}, since the start in"
        )
        (part,) = story.parts
        assert (part.label, part.access) == ("caused by", -1)
        assert part.text.startswith("the start of the run")


def test_a_late_interrupt_does_not_name_a_later_alarm(tmp_path: Path, built: str) -> None:
    """Where CONTROL raises the ring long after the alarm, an ALARM written since is not named."""
    steps = "write clock.ALARM 10\npause 30\nwrite clock.ALARM 5000\nwrite clock.CONTROL 1\n"
    cabin = Cabin(tmp_path, built, steps + "read clock.NOW\nread clock.NOW\n")
    cycle = int(cabin.recording.accesses.end[2]) + 1
    story = cabin.why(f"clock.ring@{cycle}")
    assert (story.cycle, story.parts[0].access) == (cycle, 2)
    assert all(part.access != 1 for part in story.parts[1:] if part.label == "set by")


def test_writes_at_an_image_count(tmp_path: Path, built: str) -> None:
    """A write at an image address, or of one byte, is named with the register that it reached."""
    steps = READY.replace("write lamps.HIGH 0x00020001\n", "write 0x1100c 0x00020001\n")
    steps += "write lamps.HIGH 0x00030000 lanes 0100\nwrite lamps.CONTROL 1\n"
    cabin = Cabin(tmp_path, built, steps)
    story = cabin.why("lamps.line@7")
    assert story.parts[3].access == 4
    steps = steps.replace("write lamps.HIGH 0x00030000 lanes 0100\n", "")
    story = Cabin(tmp_path, built, steps).why("lamps.line@6")
    assert "lamps.HIGH (0x0001100c)" in story.parts[3].text
    assert (story.parts[3].access, story.parts[3].facts["line"]) == (1, 2)


def test_bit_banging_has_the_routine_in_between() -> None:
    """The finding of a pulse too long names the CLEAR that ended it, and the routine's last write."""
    folder = Path(busbox.__file__).parent / "firmware_traces"
    if not folder.is_dir():
        folder = Path(busbox.__file__).parent.parent / "firmware_traces"
    bench = load_bench(str(folder / "bit_banging" / "interrupted"))
    recording = bench.run("python")
    finding = recording.findings[0]
    story = Stories(bench.system(), recording).tell("finding.0")
    by = {part.label: part for part in story.parts}
    accesses = recording.accesses
    # The routine's writes are EVENTS and TOGGLE of its lines; the CLEAR that follows ends the pulse.
    toggle = int((accesses.address == 0x4000_000C).nonzero()[0][0])
    assert by["in between"].access == toggle
    assert "2 accesses, the last: " in by["in between"].text
    assert by["caused by"].access == toggle + 1 == finding.access
    assert accesses.address[toggle + 1] == 0x4000_0008
    assert "levers.CLEAR" in by["caused by"].text


@pytest.mark.parametrize(
    ("what", "told"),
    [
        ("lamps.lime@9s", "there is no pin 'lamps.lime'; did you mean 'lamps.line'?"),
        ("lamps.lime@5us", "there is no pin 'lamps.lime'; did you mean 'lamps.line'?"),
        (
            "lamps.line@1s",
            "the time must be before the end of the run, cycle 6,864, not in cycle 16,000,000",
        ),
        (
            "lamps.line@soon",
            "a time must be a number with s, ms, us, ns or ps, or whole cycles, not 'soon'",
        ),
        ("event.99", "there is no event 99: the run has event 0 only"),
        ("finding.0", "there is no finding 0: the run has none"),
        ("access.515", "there is no access 515: the run has accesses 0 to 514"),
        ("lamps", "must be PIN@TIME, event.N, finding.N or access.N, not 'lamps'"),
        ("event.-1", "must be PIN@TIME, event.N, finding.N or access.N, not 'event.-1'"),
    ],
)
def test_a_question_that_has_no_answer(
    what: str, told: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bad question ends with exit code 2 and one line that says what would be right."""
    monkeypatch.setattr("busbox.engines.preferred", lambda *_: "python")
    assert say(capsys, "why", "first_light", what, code=2) == f"busbox: why: {told}\n"
