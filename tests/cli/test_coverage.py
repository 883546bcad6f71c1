"""``busbox run --coverage`` and ``--stop-on``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from busbox import Bench, Recording, load_bench
from busbox.cli.stop_on import finders, stop_at_first
from busbox.cpu import Bus
from busbox.cpu.steps import AccessStep, Named, Step
from busbox.exports.coverage import coverage
from tests.cli.saying import say
from tests.spoiled.cabin import Spoiled, assert_told

MOVED = "slot.lamps.base=0x44010000"


def covered(traffic: list[Step], **slot: Any) -> dict[str, Any]:
    """Return the coverage of one slot, ``dev``, under some traffic."""
    keys = {"model": "pulse_led", "base": 0x1000, "size": 0x1000, "lamps": 8} | slot
    bench = Bench({"clock": "1 MHz", "slot": {"dev": keys}, "traffic": traffic})
    found: dict[str, Any] = coverage(bench.run(), bench.devices())["dev"]
    return found


def write(register: str, data: int, lanes: int = 15) -> AccessStep:
    """Return a write of ``dev``."""
    return AccessStep(True, Named("dev", register), data, lanes)


def read(register: str) -> AccessStep:
    """Return a read of ``dev``."""
    return AccessStep(False, Named("dev", register))


# Coverage.


def test_reads_writes_lanes_and_fields_are_told() -> None:
    """Ones written in selected lanes count; a read counts bit by bit; the rest was never touched."""
    found = covered(
        [write("HIGH", 0x0001_0001, 0b0011), write("COLOUR.2", 0xFF00), read("COLOUR.2")]
    )
    assert found["registers"]["HIGH"] == {
        "reads": 0,
        "writes": 1,
        "lanes": ["0011"],
        "fields": {
            "ZERO": {"written_one": True, "read_one": False, "read_zero": False},
            "ONE": {"written_one": False, "read_one": False, "read_zero": False},
        },
    }
    assert found["registers"]["COLOUR.2"] == {
        "reads": 1,
        "writes": 1,
        "lanes": ["1111"],
        "fields": {
            "RED": {"written_one": False, "read_one": False, "read_zero": True},
            "GREEN": {"written_one": True, "read_one": True, "read_zero": False},
            "BLUE": {"written_one": False, "read_one": False, "read_zero": True},
        },
    }
    assert found["untouched"] == [
        "CONTROL", "STATUS", "COUNT", "PERIOD", "COLOUR.0..1", "COLOUR.3..7",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("touched", "untouched"),
    [
        ((), ["WORD.0..7"]),
        ((0,), ["WORD.1..7"]),
        ((7,), ["WORD.0..6"]),
        ((1, 3), ["WORD.0", "WORD.2", "WORD.4..7"]),
        (range(8), []),
    ],
)
def test_what_is_left_of_a_row_is_told_as_ranges(touched: range, untouched: list[str]) -> None:
    """First, last, one alone, all and none."""
    steps: list[Step] = [write(f"WORD.{number}", 1) for number in touched]
    keys = {"model": "memory", "base": 0x20, "size": 0x20}
    bench = Bench({"clock": "1 MHz", "slot": {"dev": keys}, "traffic": steps})
    found = coverage(bench.run(), bench.devices())["dev"]
    assert found["untouched"] == untouched
    assert list(found["registers"]) == [f"WORD.{number}" for number in touched]


def test_a_row_of_any_length_is_told_at_once() -> None:
    """A memory of a gigabyte is not listed word by word."""
    keys = {"model": "memory", "base": 0, "size": 1 << 30}
    bench = Bench({"clock": "1 MHz", "slot": {"dev": keys}, "traffic": [write("WORD.9", 1)]})
    found = coverage(bench.run(), bench.devices())["dev"]
    assert found["untouched"] == ["WORD.0..8", f"WORD.10..{(1 << 28) - 1}"]


def test_an_access_counts_through_an_image_but_not_in_a_hole() -> None:
    """An image reaches the register; an offset without one is a finding, not coverage."""
    image, hole = AccessStep(True, 0x5000_1008, 3), AccessStep(True, 0x1044, 3)
    keys = {"compare": "27..12"}
    assert covered([image], **keys)["registers"]["COUNT"]["writes"] == 1
    assert covered([hole], **keys)["registers"] == {}


def test_an_access_that_ended_with_err_reached_nothing() -> None:
    """A watchdog that is faster than the wait states cuts every access off."""
    bench = Bench(
        {
            "clock": "1 MHz",
            "fabric": {"watchdog": 2},
            "slot": {"dev": {"model": "gpio", "base": 0, "size": 64, "wait": 9}},
            "traffic": [write("OUT", 1)],
        }
    )
    assert coverage(bench.run(), bench.devices())["dev"]["registers"] == {}


def test_a_write_without_the_lanes_that_it_needs_writes_no_one() -> None:
    """A uart's DATA acts with lane 0 only; the write counts, its ones do not."""
    bench = Bench(
        {
            "clock": "1 MHz",
            "slot": {"dev": {"model": "uart", "base": 0, "size": 64}},
            "traffic": [write("DATA", 0xFFFF, 0b0010)],
        }
    )
    data = coverage(bench.run(), bench.devices())["dev"]["registers"]["DATA"]
    assert (data["writes"], data["lanes"]) == (1, ["0010"])
    assert data["fields"]["BYTE"]["written_one"] is False


def test_the_summary_tells_it_only_with_the_option(capsys: pytest.CaptureFixture[str]) -> None:
    """A section of its own, within 100 columns; equal neighbours in a row are one line."""
    assert "Coverage" not in say(capsys, "run", "first_light")
    page = say(capsys, "run", "first_light", "--coverage")
    section = page.partition("\nCoverage ")[2].partition("\nFindings")[0]
    assert all(len(line) <= 100 for line in section.splitlines())
    for part in (
        "    SET           0       1  1111   VALUE w1\n",
        "    never touched  OUT, TOGGLE, ENABLE, RISE, FALL, EVENTS\n",
        "    STATUS         344       0  1111   BUSY r1 r0, MISSED r0\n",
        "    COLOUR.2..4      0       1  1111   RED, GREEN w1, BLUE\n",
    ):
        assert part in section


def test_the_object_has_it_only_with_the_option(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Under the key coverage, last; the report of --out has it too."""
    assert "coverage" not in json.loads(say(capsys, "run", "first_light", "--json"))
    words = ("--json", "--coverage", "--out", str(tmp_path))
    found = json.loads(say(capsys, "run", "first_light", *words))
    assert list(found)[-1] == "coverage"
    assert list(found["coverage"]) == ["levers", "telegraph", "lamps"]
    assert found["coverage"]["telegraph"]["untouched"] == ["DIVISOR", "INTERRUPT"]
    report = json.loads((tmp_path / "first_light.json").read_text(encoding="utf-8"))
    assert report == found


def test_a_long_list_is_cut_on_the_page(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Forty registers of a slot are shown; the object has all."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(
        'clock = "1 MHz"\n[slot.ram]\nmodel = "memory"\nbase = 0\nsize = 0x1000\n'
        '[traffic]\nfile = "a.steps"\n',
        encoding="utf-8",
    )
    steps = "".join(f"write {8 * number} 1\n" for number in range(50))
    Path("a.steps").write_text(steps, encoding="utf-8")
    page = say(capsys, "run", "bench.toml", "--coverage")
    rows = [line.split() for line in page.splitlines()]
    assert ["WORD.78", "0", "1", "1111", "VALUE", "w1"] in rows
    assert "    and 10 more; --json lists all\n" in page
    assert " ".join(page.split()).count("WORD.79 and 10 more; --json lists all") == 1
    found = json.loads(say(capsys, "run", "bench.toml", "--coverage", "--json"))
    assert len(found["coverage"]["ram"]["registers"]) == 50


# Stopping.


def test_a_run_stops_at_the_first_finding_of_a_rule(capsys: pytest.CaptureFixture[str]) -> None:
    """Its last row is that of the finding, which is told; nothing after it happened."""
    first = load_bench("first_light").with_values([MOVED]).run().findings[0]
    words = ("--set", MOVED, "--stop-on", "unmapped-access")
    found = json.loads(say(capsys, "run", "first_light", "--json", *words))
    assert (found["cycles"], found["ended"]) == (first.cycle + 1, "until")
    assert found["counts"] == {"unmapped-access": {"0x44000008": 1}}
    assert found["stopped_on"] == {
        "what": "unmapped-access", "cycle": first.cycle, "access": first.access,
        "text": first.message,
    }  # fmt: skip
    page = say(capsys, "run", "first_light", *words)
    assert page.startswith("first_light: stopped after 122.6 us (1,961 cycles at 16 MHz)")
    assert (
        "\nnote: Stopped on unmapped-access in cycle 1,960 (122.5 us): write of 0x8 to\n"
        "  0x44000008: no slot answers at this address; the write is lost.\n" in page
    )


@pytest.mark.parametrize("what", ["lamps.CONTROL", "0x44000000"])
def test_a_run_stops_after_the_first_access_to_an_address(
    what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The row in which it ends is the last one; the write does not show yet."""
    found = json.loads(say(capsys, "run", "first_light", "--json", "--stop-on", what))
    accesses = load_bench("first_light").run().accesses
    number = accesses.address.tolist().index(0x4400_0000)
    assert found["cycles"] == int(accesses.end[number]) + 1
    assert found["accesses"] == number + 1
    assert found["stopped_on"]["text"] == "write of 0x1 at 0x44000000"
    assert found["frames"] == {"lamps": []}


def test_the_earliest_of_several_counts(capsys: pytest.CaptureFixture[str]) -> None:
    """A register that is reached before the first finding, in whatever order they are given."""
    for words in (("unmapped-access", "telegraph.DATA"), ("telegraph.DATA", "unmapped-access")):
        options = [part for word in words for part in ("--stop-on", word)]
        found = json.loads(say(capsys, "run", "first_light", "--json", "--set", MOVED, *options))
        assert found["stopped_on"]["what"] == "telegraph.DATA"


def test_a_run_that_meets_none_of_it_is_whole(capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing is said on the page; the object says null."""
    page = say(capsys, "run", "first_light", "--stop-on", "framing")
    assert page == say(capsys, "run", "first_light")
    found = json.loads(say(capsys, "run", "first_light", "--stop-on", "framing", "--json"))
    assert found["stopped_on"] is None
    assert found["ended"] == "done"


def test_until_counts_if_it_comes_first(capsys: pytest.CaptureFixture[str]) -> None:
    """A register that is reached later than --until stops nothing."""
    words = ("--until", "2 us", "--stop-on", "lamps.CONTROL", "--json")
    found = json.loads(say(capsys, "run", "first_light", *words))
    assert (found["cycles"], found["stopped_on"]) == (32, None)


def test_a_register_is_met_through_an_image_too() -> None:
    """By name the register counts, by number the address."""
    steps: list[Step] = [AccessStep(True, 0x5000_1008, 3), AccessStep(True, 0x1008, 4)]
    keys = {"model": "pulse_led", "base": 0x1000, "size": 0x1000, "lamps": 8, "compare": "27..12"}
    bench = Bench({"clock": "1 MHz", "slot": {"dev": keys}, "traffic": steps})
    for word, access in (("dev.COUNT", 0), ("0x1008", 1)):
        stop = stop_at_first(bench.run, None, finders([word], bench.system())).stopped_on
        assert stop is not None
        assert stop.access == access


def _firmware(bus: Bus) -> None:
    while bus.read("clock.NOW") < 100:
        bus.write("levers.TOGGLE", 1)
    bus.write("levers.IN", 1)
    bus.write("levers.OUT", 7)


def test_it_is_exact_for_a_function_too() -> None:
    """The second run asks the function anew; its rows are those of the first, up to the stop."""
    bench = Bench(
        {
            "clock": "1 MHz",
            "slot": {
                "levers": {"model": "gpio", "base": 0, "size": 64},
                "clock": {"model": "timer", "base": 64, "size": 32},
            },
            "traffic": _firmware,
        }
    )
    whole = bench.run()
    wanted = finders(["read-only-write"], bench.system())
    recording = stop_at_first(bench.run, None, wanted)
    stop = recording.stopped_on
    assert stop is not None
    assert (stop.cycle, recording.cycles) == (whole.findings[0].cycle, whole.findings[0].cycle + 1)
    assert recording.accesses.end.tolist() == whole.accesses.end.tolist()[:-1]
    assert recording.findings == whole.findings
    assert [note.partition(":")[0] for note in recording.notes] == [
        f"Stopped on read-only-write in cycle {stop.cycle} ({stop.cycle} us)"
    ]


def test_the_note_is_kept_in_the_saved_recording(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Whoever loads it reads why it ends there."""
    words = ("--stop-on", "levers.SET", "--out", str(tmp_path))
    say(capsys, "run", "first_light", *words)
    recording = Recording.load(tmp_path / "first_light.recording.npz")
    assert recording.notes[-1].startswith("Stopped on levers.SET in cycle ")


CASES = (
    Spoiled(
        "A rule must be known.",
        "busbox: --stop-on: must be a rule, an address or slot.REGISTER, not 'unmaped-access'; did "
        "you mean 'unmapped-access'?\n",
        args=("run", "bench.toml", "--stop-on", "unmaped-access"),
    ),
    Spoiled(
        "A register and its slot must be known; all mistakes are told.",
        "busbox: --stop-on: lamps has no register 'CONTROLL'; did you mean 'CONTROL'?\n"
        "busbox: --stop-on: there is no slot 'lmaps'; did you mean 'lamps'?\n"
        "busbox: --stop-on: an address must be a number such as 12 or 0x0c, not '0x4g'\n"
        "busbox: --stop-on: an address must be a multiple of 4, not 0x41; that byte is 0x00000040 "
        "with lanes 0010, its data in bits 15..8\n",
        args=(
            "run",
            "bench.toml",
            "--stop-on",
            "lamps.CONTROLL",
            "--stop-on",
            "lmaps.COUNT",
            "--stop-on",
            "0x4g",
            "--stop-on",
            "0x41",
        ),
    ),
    Spoiled(
        "Something must be named.",
        "busbox: --stop-on must be followed by a value\n",
        args=("run", "bench.toml", "--stop-on"),
    ),
    Spoiled(
        "Coverage takes no value.",
        "busbox: --coverage takes no value\n",
        args=("run", "bench.toml", "--coverage=all"),
    ),
    Spoiled(
        "The mistakes of a bench are told as ever.",
        "busbox: bench.toml:15: slot.levers.width: must be a whole number from 1 to 32, not 33\n",
        edits=(("width = 8", "width = 33"),),
        args=("run", "bench.toml", "--coverage", "--stop-on", "framing"),
    ),
    Spoiled(
        "The mistakes of an argument are told by its option.",
        "busbox: --until: must be at least one cycle, not 0\n",
        args=("run", "bench.toml", "--until", "0", "--stop-on", "framing"),
    ),
    Spoiled(
        "Traffic of the command line is told by its option.",
        "busbox: --traffic: there is no file 'dya.steps'; did you mean 'day.steps'?\n",
        args=("run", "bench.toml", "--traffic", "dya.steps", "--coverage"),
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
