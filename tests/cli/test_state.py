"""``busbox state``."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from busbox import load_bench
from tests.cli.saying import say
from tests.programs import FOLDER
from tests.spoiled.cabin import Spoiled, assert_told

pytestmark = [pytest.mark.quick, pytest.mark.usefixtures("files_outside")]


def test_registers_and_pins_are_those_of_the_cycle(capsys: pytest.CaptureFixture[str]) -> None:
    """As a run that ends with that cycle leaves them; time and cycle name the same one."""
    recording = load_bench("first_light").run(until=2401)
    for at in ("2400", "150 us"):
        found = json.loads(say(capsys, "state", "first_light", "--at", at, "--json"))
        assert (found["asked"], found["cycle"], found["ended"]) == (2400, 2400, "until")
        for name, slot in found["slots"].items():
            words = {key: one["value"] for key, one in slot["registers"].items()}
            unread = {key: 0 for key, word in words.items() if word is None}
            assert words | unread == recording.registers[name]
            for pin, level in slot["pins"].items():
                assert level == recording.edges(f"{name}.{pin}")[1][-1]


def test_a_write_shows_from_the_next_cycle(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A write of 5 ends in cycle 2: cycle 2 still shows 0, cycle 3 shows 5, register and pin."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(
        'clock = "1 MHz"\n[slot.levers]\nmodel = "gpio"\nbase = 0\nsize = 64\nwidth = 3\n'
        '[traffic]\nfile = "a.steps"\n',
        encoding="utf-8",
    )
    Path("a.steps").write_text("write levers.OUT 5\n", encoding="utf-8")
    for at, word in ((0, 0), (2, 0), (3, 5)):
        found = json.loads(say(capsys, "state", "bench.toml", "--at", str(at), "--json"))
        levers = found["slots"]["levers"]
        assert levers["registers"]["OUT"] == {"value": word, "fields": {"VALUE": word}}
        assert [levers["pins"][f"out.{pin}"] for pin in range(3)] == [word & 1, 0, word >> 2]
        assert levers["registers"]["SET"] == {"value": None, "fields": {}}


def test_fields_are_decoded_and_equal_neighbours_are_one(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The whole page of one slot, while its frame is sent."""
    page = say(capsys, "state", "first_light", "lamps", "--at", "150 us")
    assert (
        page
        == """\
first_light: cycle 2,400 (150 us at 16 MHz)

lamps (pulse_led)
  CONTROL      0x00000000  SEND 0, REPEAT 0
  STATUS       0x00000001  BUSY 1, MISSED 0
  COUNT        0x00000008
  HIGH         0x000d0007  ZERO 7, ONE 13
  PERIOD       0x03c00014  BIT 20, GAP 960
  COLOUR.0     0x00400000  RED 64, GREEN 0, BLUE 0
  COLOUR.1     0x00302000  RED 48, GREEN 32, BLUE 0
  COLOUR.2..4  0x00004000  RED 0, GREEN 64, BLUE 0
  COLOUR.5     0x00302000  RED 48, GREEN 32, BLUE 0
  COLOUR.6     0x00400000  RED 64, GREEN 0, BLUE 0
  COLOUR.7     0x00000040  RED 0, GREEN 0, BLUE 64
  pins  line 0
"""
    )


def test_all_slots_are_shown_and_no_line_is_too_long(capsys: pytest.CaptureFixture[str]) -> None:
    """Write-only registers say so; pins in a row are one; what is set from outside counts."""
    words = ("--set", "slot.lamps.count=3", "--set", "slot.telegraph.divisor=99")
    page = say(capsys, "state", "first_light", "--at", "50 us", *words)
    assert all(len(line) <= 100 for line in page.splitlines())
    for part in (
        "levers (gpio)\n  OUT     0x00000001\n  SET     -           cannot be read\n",
        "pins  out.0 1, out.1..31 0, in.0..3 0, in.4 1, in.5..31 0, interrupt 0",
        "  DIVISOR    0x00000063\n",
        "  COUNT        0x00000003\n",
        "  COLOUR.0..7  0x00000000  RED 0, GREEN 0, BLUE 0\n",
    ):
        assert part in page


def test_a_moment_after_the_end_shows_the_last_cycle_and_says_so(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The registers of the last cycle, with a note; the object has both cycles."""
    last = load_bench("interrupted").run().cycles - 1
    page = say(capsys, "state", "interrupted", "levers", "--at", "1 s")
    assert "note: the run ended here, before cycle 16,000,000 (done).\n" in page
    found = json.loads(say(capsys, "state", "interrupted", "levers", "--at", "1 s", "--json"))
    assert (found["asked"], found["cycle"], found["ended"]) == (16_000_000, last, "done")
    assert list(found["slots"]) == ["levers"]


def test_a_memory_has_no_register_that_is_listed(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is too large; it has no pins either."""
    monkeypatch.chdir(tmp_path)
    text = 'clock = "1 MHz"\n[slot.ram]\nmodel = "memory"\nbase = 0\nsize = 64\n'
    text += '[traffic]\nfile = "a.steps"\n'
    Path("bench.toml").write_text(text, encoding="utf-8")
    Path("a.steps").write_text("", encoding="utf-8")
    page = say(capsys, "state", "bench.toml", "--at", "0")
    assert page.endswith("\nram (memory)\n  no register is listed\n")


CASES = (
    Spoiled(
        "A moment must be given.",
        "busbox: --at: must be given, such as --at '2 ms'\n",
        args=("state", "bench.toml"),
    ),
    Spoiled(
        "A moment must have a known unit.",
        "busbox: --at: must be a number with s, ms, us, ns or ps, or whole cycles, not '2 min'\n",
        args=("state", "bench.toml", "--at", "2 min"),
    ),
    Spoiled(
        "A moment must not be negative.",
        "busbox: --at: must be at least 0, not '-1'\n",
        args=("state", "bench.toml", "--at=-1"),
    ),
    Spoiled(
        "A moment with a unit must not be negative either.",
        "busbox: --at: must be at least 0, not '-1 us'\n",
        args=("state", "bench.toml", "--at", "-1 us"),
    ),
    Spoiled(
        "A slot must be known.",
        "busbox: state: there is no slot 'lmaps'; did you mean 'lamps'? (known: levers, telegraph, "
        "lamps or book)\n",
        args=("state", "bench.toml", "lmaps", "--at", "0"),
    ),
    Spoiled(
        "A bench must be good.",
        "busbox: --set: slot.levers.width: must be a whole number from 1 to 32, not 33\n",
        args=("state", "bench.toml", "--at", "0", "--set", "slot.levers.width=33"),
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each cycle: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)


# A core.


def write_ring() -> None:
    """Write a bench that executes the program ring, to ring.toml."""
    Path("ring.toml").write_text(
        'clock = "16 MHz"\n[slot.levers]\nmodel = "gpio"\nbase = 0x4000_0000\nsize = 0x1000\n'
        f'[traffic]\nfile = "{(FOLDER / "ring.elf").as_posix()}"\n[core]\nisa = "rv32im"\n'
        'ebreak = "end"\ninterrupt = "levers.interrupt"\n'
        '[[input]]\nat = 400\npin = "levers.in.4"\nlevel = 1\n',
        encoding="utf-8",
    )


def test_the_registers_of_a_core_are_shown_by_the_names_of_the_convention(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the interrupt of the program ring: the stack has grown by 64, mcause says why."""
    monkeypatch.chdir(tmp_path)
    write_ring()
    told = say(capsys, "state", "ring.toml", "core", "--at", "460")
    assert told.startswith("ring: cycle 460 (28.75 us at 16 MHz)\n\ncore (rv32im)\n  pc  ")
    assert "  pulled, ring.c:" in told
    assert "  mcause   0x8000000b\n" in told
    assert "levers (gpio)" not in told
    object_ = json.loads(say(capsys, "state", "ring.toml", "--at", "460", "--json"))
    core = object_["core"]
    assert (core["function"], core["file"]) == ("pulled", "ring.c")
    assert core["machine"]["mcause"] == 1 << 31 | 11
    before = json.loads(say(capsys, "state", "ring.toml", "--at", "400", "--json"))["core"]
    assert before["registers"]["sp"] - core["registers"]["sp"] in (64, 64 + 32, 64 - 32)
    assert set(object_["slots"]) == {"levers"}
    assert list(core["registers"])[:5] == ["ra", "sp", "gp", "tp", "t0"]
    assert len(core["registers"]) == 31


def test_a_saved_recording_has_the_registers_of_its_core_too(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The program is inside: the same registers as from the bench, at the end and in the middle."""
    monkeypatch.chdir(tmp_path)
    write_ring()
    say(capsys, "run", "ring.toml", "--out", "kept")
    (tmp_path / "ring.toml").rename(tmp_path / "gone.toml")
    (file,) = map(str, Path("kept").glob("*.recording.npz"))
    for at in (("--at", "460"), ("--at", "99999")):
        seen = json.loads(say(capsys, "state", file, *at, "--json"))["core"]
        expected = json.loads(say(capsys, "state", "gone.toml", *at, "--json"))["core"]
        assert seen == expected


def test_without_a_core_there_is_no_slot_of_that_name(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Steps have no registers."""
    monkeypatch.chdir(tmp_path)
    told = say(capsys, "state", "first_light", "core", "--at", "5", code=2)
    assert told.startswith("busbox: state: there is no slot 'core'")
    write_ring()
    told = say(capsys, "state", "ring.toml", "cor", "--at", "5", code=2)
    assert "did you mean 'core'? (known: levers or core)" in told
