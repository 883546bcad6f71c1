"""The models of the bench word_lamps: built from the parts of others, with registers of their own."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox.basics.units import Span
from busbox.bench.bench import Bench, load_bench
from busbox.bench.find import packaged_benches
from busbox.cli import main
from busbox.cpu.steps import AccessStep, Named, Pause, Step
from busbox.recording import Recording
from tests.models.driving import Drive, edges

FOLDER = packaged_benches()["word_lamps"].parent
LAMPS, PORT = "lamps.py:WordLamps", "telegraph.py:HoldingPort"
#: Clocks of a bit, of a lamp's 24 bits, of a frame of four lamps with its gap of 960.
BIT, LAMP, FRAME = 20, 24 * 20, 4 * 24 * 20 + 960


@pytest.fixture(scope="module")
def evening() -> Recording:
    """The recording of the bench as it comes."""
    return load_bench("word_lamps").run()


def lamps(wait: int = 0, **more: object) -> Drive:
    """Return a drive of the lamps alone."""
    return Drive(LAMPS, wait, folder=FOLDER, size=16, **more)  # type: ignore[arg-type]


def port(divisor: int = 16) -> Drive:
    """Return a drive of the port alone."""
    return Drive(PORT, 0, folder=FOLDER, size=16, divisor=divisor)


def said(text: bytes) -> list[Step]:
    """Return the writes of a text to the slot ``port``."""
    return [AccessStep(True, Named("port", "DATA"), byte) for byte in text]


@pytest.mark.parametrize("file", ["lamps.py", "telegraph.py"])
def test_each_model_is_at_most_35_lines(file: str) -> None:
    """All lines of the class count, empty ones too."""
    lines = (FOLDER / file).read_text(encoding="utf-8").splitlines()
    first = next(number for number, line in enumerate(lines) if line.startswith("class "))
    assert len(lines) - first <= 35  # what stands above is imports and one sentence


def test_the_bench_runs_without_a_finding_and_ends_in_a_last_gap_cycle(evening: Recording) -> None:
    """Nothing is found, all that must hold does, and cycle 3 x 2880 is the last of the third frame."""
    assert evening.findings == ()
    assert all(verdict.met for verdict in evening.verdicts)
    assert evening.ended == "done"
    assert evening.cycles - 1 == 3 * FRAME


def test_frames_follow_each_other_with_the_colours_of_their_time(evening: Recording) -> None:
    """The words end in 652, 660, 668, 676: too late for lamps 0 and 1 of the frame that began in 1."""
    first, *later = evening.frames["lamps"]
    assert (first.cycle, first.colours) == (1, (0, 0, 0x400000, 0x000040))
    assert [frame.cycle for frame in later] == [1 + FRAME, 1 + 2 * FRAME]
    assert {frame.colours for frame in later} == {(0x004000, 0x302000, 0x400000, 0x000040)}


def test_the_line_shows_the_colours_bit_by_bit(evening: Recording) -> None:
    """Every bit of the second frame is high for 13 cycles or 7: green, red, blue of each lamp."""
    cycles, levels = evening.edges("lamps.line")
    rises = [cycle for cycle, level in zip(cycles.tolist(), levels.tolist(), strict=True) if level]
    falls = dict(zip(cycles.tolist()[:-1], cycles.tolist()[1:], strict=True))
    start = 1 + FRAME
    assert [cycle for cycle in rises if start <= cycle < start + FRAME] == [
        start + BIT * bit for bit in range(96)
    ]
    highs_seen = [falls[start + BIT * bit] - start - BIT * bit for bit in range(96)]
    sent = "".join(f"{word:024b}" for word in (0x400000, 0x203000, 0x004000, 0x000040))
    assert highs_seen == [13 if bit == "1" else 7 for bit in sent]


def test_a_write_waits_on_the_bus_until_there_is_room(evening: Recording) -> None:
    """With 16 cycles a bit: ends in 2 and 4 (the fall, and room again), then every 160 cycles.

    By hand, wait state 1: the first is raised in 1, ends in 2, its start bit falls in 4. The second is
    raised in 3 and would end in 4: there is room again in 4. The third is raised in 5 and waits for
    the end of the first byte, 4 + 160; each further one for the byte before.
    """
    mine = evening.accesses.slot == 1
    assert evening.accesses.end[mine].tolist() == [2, 4, 164, 324, 484, 644]
    assert evening.accesses.start[mine].tolist() == [1, 3, 5, 165, 325, 485]
    assert evening.accesses.terminators == ["ack"] * 10


def test_no_byte_is_lost_and_each_ends_ten_bits_after_the_last(evening: Recording) -> None:
    """The whole text leaves; the first stop bit ends in 4 + 160 - 1, as bytes are 160 apart."""
    assert evening.texts["telegraph"] == "clear\n"
    text = evening.characters["telegraph"]
    assert text.cycles.tolist() == [163 + 160 * number for number in range(6)]
    assert text.accesses.tolist() == [0, 1, 2, 3, 4, 5]


@pytest.mark.parametrize("wait", [0, 1])
@pytest.mark.parametrize(("end", "taken"), [(479, True), (480, False)])
def test_a_colour_counts_as_of_the_cycle_before_the_lamps_first_bit(
    end: int, taken: bool, wait: int
) -> None:
    """Lamp 1 begins in 481: a word that ends in 479 shows in 480 and is sent, one in 480 is not."""
    recording = lamps(wait).write(end, "WORD", 0x0100FF00).run()
    assert recording.frames["dev"][0].colours[1] == (0x00FF00 if taken else 0)


def test_a_number_of_no_lamp_changes_nothing_that_is_sent() -> None:
    """Lamp 4 of four, and lamp 255, have a colour that no frame holds."""
    recording = (
        lamps().write(1, "WORD", 0x04FFFFFF).write(2, "WORD", 0xFFFFFFFF).run(until=2 * FRAME)
    )
    assert {frame.colours for frame in recording.frames["dev"]} == {(0, 0, 0, 0)}


def test_a_reset_begins_the_frame_again_and_keeps_the_colours() -> None:
    """RST in 100 to 102: cycle 103 plays cycle 0, the first bit is in 104, lamp 0 is still red."""
    drive = lamps(resets=[(100, 3)]).write(5, "WORD", 0x00800000)
    recording = drive.run(until=104 + FRAME, upto=200)
    assert [frame.cycle for frame in recording.frames["dev"]] == [1, 104]
    assert recording.frames["dev"][1].colours == (0x800000, 0, 0, 0)
    cycles = [cycle for cycle, _ in edges(recording, "line")]
    assert cycles[:12] == [0, 1, 8, 21, 28, 41, 48, 61, 68, 81, 88, 104]


def test_the_run_ends_in_the_last_gap_cycle_whenever_the_traffic_ends() -> None:
    """Traffic over within the first frame: cycle 2880 is the last; one cycle later: the next
    frame's.
    """
    assert lamps().write(FRAME - 1, "WORD", 0).run().cycles - 1 == FRAME
    assert lamps().write(FRAME, "WORD", 0).run().cycles - 1 == 2 * FRAME


def test_a_pin_that_hears_them_hears_every_edge() -> None:
    """Wires to inputs of a gpio bring each edge in its row: next_edge misses none."""
    keys = {
        "clock": "16 MHz",
        "slot": {
            "lamps": {"model": LAMPS, "base": 0, "size": 16},
            "port": {"model": PORT, "base": 16, "size": 16, "divisor": 3},
            "ear": {"model": "gpio", "base": 0x100, "size": 256, "width": 2},
        },
        "wire": [
            {"from": "lamps.line", "to": "ear.in.0"},
            {"from": "port.tx", "to": "ear.in.1"},
        ],
        "traffic": [*said(b"abc"), Pause(Span(cycles=FRAME))],
    }
    recording = Bench(keys, folder=FOLDER).run()
    for output, heard in (("lamps.line", "ear.in.0"), ("port.tx", "ear.in.1")):
        spoken, seen = recording.edges(output), recording.edges(heard)
        assert len(spoken[0]) > 4
        assert seen[0].tolist()[-4:] == spoken[0].tolist()[-4:]
        assert len(seen[0]) - len(spoken[0]) in (0, 1)  # an input is 0 in cycle 0, tx is 1


@pytest.mark.parametrize("lanes", [0b1110, 0b0000])
def test_a_write_without_the_byte_is_not_held_and_sends_nothing(lanes: int) -> None:
    """Two writes fill the port; one without lane 0 ends at once all the same."""
    drive = port().write(1, "DATA", 0x41).write(3, "DATA", 0x42).write(5, "DATA", 0x43, lanes)
    recording = drive.run()
    assert recording.texts["dev"] == "AB"


def test_room_is_there_again_in_the_cycle_of_the_fall() -> None:
    """Without wait states: a byte written in 1 falls in 3; the next, raised in 2, ends in 3."""
    keys = {
        "clock": "16 MHz",
        "slot": {"port": {"model": PORT, "base": 0, "size": 16, "wait": 0}},
        "traffic": said(b"ab"),
    }
    accesses = Bench(keys, folder=FOLDER).run().accesses
    assert (accesses.start.tolist(), accesses.end.tolist()) == ([1, 2], [1, 3])


def test_the_models_read_as_models(capsys: pytest.CaptureFixture[str]) -> None:
    """`busbox models FILE.py:CLASS` shows both."""
    for model, register in ((LAMPS, "WORD"), (PORT, "DATA")):
        with pytest.raises(SystemExit) as ended:
            main(["models", f"{Path(FOLDER, model)}"])
        assert ended.value.code == 0
        assert register in capsys.readouterr().out
