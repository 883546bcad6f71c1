"""The bench ``edges``: accesses in the cycle before an event, in its cycle and in the one after it.

The values below are worked out by hand from the pages of the models; the comments in
firmware_traces/edges/edges.steps say what each access is aimed at.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import busbox
from busbox.bench.bench import Bench
from busbox.cli import main
from busbox.recording import Recording

STEPS = Path(busbox.__file__).parent / "firmware_traces" / "edges" / "edges.steps"

#: Row in which a read ends: what it gives.
LEVERS = {
    # in.4 from 20: IN from 22, EVENTS from 23. in.5 from 30: EVENTS from 33.
    21: 0x00, 22: 0x10, 31: 0x10, 32: 0x10, 33: 0x30,
    # in.6: edges of IN in 42 and 48. Cleared in 41 (too early) and 47; in 48 the set wins; in 50.
    42: 0x00, 43: 0x40, 49: 0x40, 51: 0x00,
    # After the reset: IN rises in 464, RISE shows in 464, EVENTS in 465.
    464: 0x00, 465: 0x80, 476: 0x00, 477: 0xFFFF_FFFF, 479: 0xF0,
}  # fmt: skip
CLOCK = {
    # ALARM = 70: RANG from 71, cleared in 72. ALARM = 80: the clear in 80 loses, the one in 82 counts.
    69: 0, 70: 0, 71: 1, 73: 0, 81: 1, 83: 0, 86: 86, 92: 0,
    466: 4, 467: 0, 474: 0, 475: 0,  # cycle 462 is the new cycle 0
}  # fmt: skip
TELEGRAPH = {
    # 1 room, 2 busy, 4 ready. Bytes are held in 101 and in 106 to 121, sent in 102 to 141.
    99: 1, 101: 2, 102: 3, 106: 2, 121: 2, 122: 3, 141: 3, 142: 1,
    # Last samples in 171 and 191: ready from 172; the read in 191 gets the first byte, 193 the second.
    170: 1, 171: 1, 172: 5, 190: 5, 191: 0x41, 192: 5, 193: 0x42, 194: 1, 195: 0,
    468: 1, 469: 0, 478: 0,
}  # fmt: skip
LAMPS = {
    # SEND in 210, BUSY from 211; two lamps, then by REPEAT one more frame: to 436; SEND in 437.
    209: 0, 211: 1, 283: 0x33, 357: 1, 359: 1, 360: 1, 436: 1, 438: 1,
    470: 0, 471: 0, 472: 2, 473: 0x040506,
}  # fmt: skip

#: Pin: (cycle, level) of its edges after cycle 0.
PINS = {
    "levers.interrupt": [
        (23, 1), (42, 0),  # levers 4 and 5 to the clear in 41
        (43, 1), (48, 0),  # lever 6 to the clear in 47
        (49, 1), (51, 0),  # its second edge, for which the clear in 48 was too early
        (460, 1), (461, 0),  # lever 7, in the first cycle of the reset
        (465, 1),
    ],
    "levers.out.0": [(456, 1), (461, 0)],
    "levers.out.1": [(457, 2), (461, 0)],
    "clock.ring": [(71, 1), (73, 0), (81, 1), (83, 0), (460, 1), (461, 0)],
    "telegraph.interrupt": [(172, 1), (194, 0)],  # no dip where the second byte replaces the first
}  # fmt: skip

#: 0x55 from 102 and 0x4F from 122, two cycles a bit, then the byte 0 from 454, cut in 460.
TX = [
    (102, 0), (104, 1), (106, 0), (108, 1), (110, 0), (112, 1), (114, 0), (116, 1), (118, 0), (120, 1),
    (122, 0), (124, 1), (132, 0), (136, 1), (138, 0), (140, 1),
    (454, 0), (461, 1),
]  # fmt: skip


@pytest.fixture(scope="module")
def edges() -> Recording:
    """Return a run of the bench."""
    return Bench.load(STEPS.parent).run()


def _pin(recording: Recording, name: str) -> list[tuple[int, int]]:
    cycles, levels = recording.edges(name)
    return list(zip(cycles.tolist(), levels.tolist(), strict=True))[1:]


def test_every_access_ends_in_the_cycle_that_its_comment_names(edges: Recording) -> None:
    """The aims of the steps are those of the run; only the write in 460 is cut off."""
    lines = STEPS.read_text(encoding="utf-8").splitlines()
    aims = {
        number: int(found[1])
        for number, line in enumerate(lines, start=1)
        if (found := re.search(r"^(?:read|write) .* # (\d+)", line))
    }
    columns = edges.accesses
    ends = dict(zip(columns.line.tolist(), columns.end.tolist(), strict=True))
    assert ends == aims
    assert len(aims) == sum(line.startswith(("read", "write")) for line in lines) == 91
    how = dict(zip(columns.end.tolist(), columns.terminators, strict=True))
    assert {cycle for cycle, terminator in how.items() if terminator != "ack"} == {460}
    assert how[460] == "reset"


def test_every_read_gives_the_value_worked_out_by_hand(edges: Recording) -> None:
    """Each row of the tables above is a read in that cycle with that word, and there is no other."""
    columns = edges.accesses
    given: dict[str, dict[int, int]] = {slot.name: {} for slot in edges.slots}
    for end, slot, write, data in zip(
        columns.end.tolist(),
        columns.slot.tolist(),
        columns.write.tolist(),
        columns.data.tolist(),
        strict=True,
    ):
        if not write:
            given[edges.slots[slot].name][end] = data
    assert given == {"levers": LEVERS, "telegraph": TELEGRAPH, "clock": CLOCK, "lamps": LAMPS}


def test_every_read_of_the_steps_has_its_value() -> None:
    """No read stands in the file without what it gives."""
    lines = STEPS.read_text(encoding="utf-8").splitlines()
    found = [line for line in lines if line.startswith("read")]
    assert len(found) == 58
    assert all(re.search(r" = \w+", line) for line in found)


@pytest.mark.parametrize("pin", [*PINS, "telegraph.tx"])
def test_every_pin_moves_in_its_cycle(edges: Recording, pin: str) -> None:
    """Interrupts, outputs and the line of the telegraph, cycle by cycle."""
    assert _pin(edges, pin) == (TX if pin == "telegraph.tx" else PINS[pin])


def test_the_lamps_copy_their_colours_in_the_cycle_before_their_first_bit(edges: Recording) -> None:
    """Lamp 1 has what was written in 281, not in 282; the frames of 211, 360 and 438."""
    frames = [(frame.cycle, frame.colours) for frame in edges.frames["lamps"]]
    assert frames == [
        (211, (0x010203, 0x000022)), (360, (0x040506,)), (438, (0x040506,))
    ]  # fmt: skip
    assert [(event.cycle, event.kind) for event in edges.events] == [
        (211, "frame"), (360, "frame"), (438, "frame")
    ]  # fmt: skip
    # The third frame is cut in cycle 460: bits of 3 cycles from 438 on, the one of 459 is its last. It
    # is a zero (green is 0x05 = 0000 0101): high in 459 alone.
    assert _pin(edges, "lamps.line")[-2:] == [(459, 1), (461, 0)]


def test_the_bench_runs_without_a_finding(capsys: pytest.CaptureFixture[str]) -> None:
    """``busbox run edges --strict`` has exit code 0."""
    with pytest.raises(SystemExit) as ended:
        main(["run", "edges", "--strict"])
    assert ended.value.code == 0
    assert "Findings: none" in capsys.readouterr().out


def test_a_value_that_is_off_would_be_found(tmp_path: Path) -> None:
    """The same steps with one expected word changed end with exit code 1 under ``--strict``."""
    for name in ("bench.toml", "edges.steps"):
        text = (STEPS.parent / name).read_text(encoding="utf-8")
        text = text.replace("clock.NOW = 86", "clock.NOW = 85")
        (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["run", str(tmp_path), "--strict"])
    assert ended.value.code == 1
