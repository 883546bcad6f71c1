"""The verbs on good input: what they print, what they write, how they end."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from busbox import Recording, load_bench
from busbox.cli import GROUPS, main

pytestmark = pytest.mark.quick

MOVED = "slot.lamps.base=0x44010000"

CABIN_HEADER = """\
#define REG(a) (*(volatile unsigned int *)(a))
#define LEVERS    0x40000000u
#define LAMPS     0x44000000u            /* pulse_led */
#define GPIO_OUT  REG(LEVERS + 0x00)
#define LAMP(n)   REG(LAMPS + 0x100 + 4 * (n))
#define LOST      REG(LAMPS + 0x2008)
#define LEVER_4   0x10u
#define ODD       other(0x3)
"""


class Shell:
    """Runs verbs in-process."""

    def __init__(self, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys

    def __call__(self, *words: str, code: int = 0) -> str:
        """Run ``busbox WORDS``; assert its exit code, and that it complains of nothing."""
        with pytest.raises(SystemExit) as ended:
            main(list(words))
        seen = self._capsys.readouterr()
        assert ended.value.code == code, seen.err
        assert seen.err == ""
        return seen.out


@pytest.fixture
def busbox(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Shell:
    """Run verbs in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return Shell(capsys)


def test_busbox_alone_prints_the_three_commands_to_start_with(busbox: Shell) -> None:
    """A newcomer gets three commands, each of which works as printed."""
    lines = [line.strip().split("  ")[0] for line in busbox().splitlines()]
    commands = [line for line in lines if line.startswith("busbox ") and "--help" not in line]
    assert len(commands) == 3
    for command in commands:
        assert busbox(*command.split()[1:])


def test_help_groups_the_verbs(busbox: Shell) -> None:
    """Every verb stands under its group, with its line; each has a page of its own."""
    page = busbox("--help")
    for group, verbs in GROUPS.items():
        assert f"{group}:\n" in page
        for verb, text in verbs.items():
            assert verb in page
            assert text.split(".")[0][:40] in " ".join(page.split())
            assert f"busbox {verb}" in busbox(verb, "--help")


def test_json_is_one_object_of_the_shape_that_is_promised(busbox: Shell) -> None:
    """The keys, and what stands under them, for a run with findings."""
    found: dict[str, Any] = json.loads(busbox("run", "first_light", "--set", MOVED, "--json"))
    assert list(found) == [
        "bench", "engine", "clock_hz", "cycles", "accesses", "errors", "slots", "texts", "pins",
        "events", "frames", "attached", "certain", "findings", "counts", "expectations", "ended",
        "notes",
    ]  # fmt: skip
    assert found["bench"] == "first_light"
    assert found["engine"] == "python"
    assert found["clock_hz"] == 16_000_000
    assert found["errors"] == 413
    assert found["slots"]["lamps"] == {
        "model": "pulse_led", "ran_as": "model", "reads": 0, "writes": 0, "wait_cycles": 0,
    }  # fmt: skip
    assert found["texts"] == {"telegraph": "line free\n"}
    assert found["pins"]["levers.out.0"] == {"edges": 2, "level": 0}
    assert found["pins"]["telegraph.tx"]["level"] == 1
    assert found["frames"] == {"lamps": []}
    assert list(found["findings"][0]) == [
        "number", "rule", "cycle", "access", "slot", "register", "source", "message", "hint",
        "doubtful",
    ]  # fmt: skip
    assert [one["number"] for one in found["findings"]] == list(range(len(found["findings"])))
    assert found["findings"][0]["slot"] is None
    assert found["counts"]["poll-timeout"] == {"0x44000004": 1}
    assert found["expectations"] == []
    assert found["ended"] == "done"


def test_what_ran_in_each_slot_is_told(busbox: Shell) -> None:
    """Summary and JSON say of each slot whether a model or hardware ran, and JSON has the notes."""
    words = (
        "run",
        "first_light",
        "--all-hardware",
        "--set",
        "slot.lamps.as=model",
        "--until",
        "30 us",
    )
    page = busbox(*words).splitlines()
    first = page.index("Accesses")
    (note,) = [line for line in page if line.startswith("note: ")]
    assert [line.split()[:3] for line in page[first + 2 : first + 5]] == [
        ["levers", "gpio", "hardware"],
        ["telegraph", "uart", "hardware"],
        ["lamps", "pulse_led", "model"],
    ]
    found = json.loads(busbox(*words, "--json"))
    ran = {name: slot["ran_as"] for name, slot in found["slots"].items()}
    assert ran == {"levers": "hardware", "telegraph": "hardware", "lamps": "model"}
    assert [f"note: {text}" for text in found["notes"]] == [note]


def test_json_tells_frames_and_events(busbox: Shell) -> None:
    """A frame is an event in the cycle of its first bit, with its access and colours."""
    found = json.loads(busbox("run", "first_light", "--json"))
    (frame,) = found["frames"]["lamps"]
    assert frame["colours"] == [
        "400000", "302000", "004000", "004000", "004000", "302000", "400000", "000040",
    ]  # fmt: skip
    (event,) = found["events"]
    assert event == {
        "cycle": frame["cycle"], "device": "lamps", "kind": "frame", "access": frame["access"],
    }  # fmt: skip
    recording = load_bench("first_light").run()
    assert frame["cycle"] == int(recording.accesses.end[frame["access"]]) + 1
    lamps = recording.accesses.slot == 2
    spent = recording.accesses.end - recording.accesses.start
    assert found["slots"]["lamps"]["wait_cycles"] == int(spent[lamps].sum())
    assert found["cycles"] == recording.cycles


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ((), 0),
        (("--strict",), 0),
        (("--set", MOVED), 0),
        (("--set", MOVED, "--strict"), 1),
        (("--set", MOVED, "--set", "fabric.unanswered=silence", "--set", "hang_after=99"), 1),
    ],
)
def test_the_exit_code_tells_what_was_found(
    words: tuple[str, ...], code: int, busbox: Shell
) -> None:
    """0 without --strict, 1 with it if anything is found, 1 whenever the CPU hangs."""
    busbox("run", "first_light", *words, code=code)


def test_out_and_vcd_write_files_that_hold_the_run(busbox: Shell, tmp_path: Path) -> None:
    """The recording loads again, the report is the JSON object, the waveform is there."""
    busbox("run", "first_light", "--out", "evening/one", "--vcd", "wave.vcd")
    folder = tmp_path / "evening" / "one"
    assert sorted(file.name for file in folder.iterdir()) == [
        "first_light.json",
        "first_light.recording.npz",
    ]
    recording = Recording.load(folder / "first_light.recording.npz")
    report = json.loads((folder / "first_light.json").read_text(encoding="utf-8"))
    assert report["cycles"] == recording.cycles == load_bench("first_light").run().cycles
    assert (tmp_path / "wave.vcd").stat().st_size > 1000


def test_until_cuts_the_run_at_a_time_or_a_cycle(busbox: Shell) -> None:
    """2 us at 16 MHz are the 32 rows 0 to 31."""
    for until in ("2 us", "32"):
        found = json.loads(busbox("run", "first_light", "--json", "--until", until))
        assert (found["cycles"], found["ended"]) == (32, "until")


def test_traffic_replaces_the_benchs_own(busbox: Shell, tmp_path: Path) -> None:
    """--traffic is looked up from where the command runs, file or function."""
    (tmp_path / "mine.steps").write_text("write levers.OUT 3\n", encoding="utf-8")
    (tmp_path / "mine.py").write_text(
        "def go(bus):\n    bus.write('levers.OUT', 3)\n", encoding="utf-8"
    )
    for name in ("mine.steps", "mine.py:go"):
        found = json.loads(busbox("run", "first_light", "--json", "--traffic", name))
        assert found["accesses"] == 1
        assert found["pins"]["levers.out.1"] == {"edges": 1, "level": 1}


def test_a_note_tells_what_was_not_reached(busbox: Shell, tmp_path: Path) -> None:
    """Inputs and resets after the end do not prolong a run, and are told."""
    (tmp_path / "mine.steps").write_text("write levers.OUT 3\n", encoding="utf-8")
    page = busbox("run", "first_light", "--traffic", "mine.steps")
    assert "note: The run ended at 250 ns, before input levers.in.4 in cycle 640." in page


def test_list_names_every_bench_that_comes_with_it(busbox: Shell) -> None:
    """Each with the first line of its file."""
    page = busbox("list")
    assert "first_light " in page
    assert "signal_cabin " in page


def test_map_tells_slots_and_gaps(busbox: Shell) -> None:
    """In words and as one object; the gaps are the rest of the address space."""
    page = busbox("map", "first_light")
    assert "0x44000000..0x44000fff  lamps      pulse_led  0x1000  1" in page
    assert "0x40002000..0x43ffffff" in page
    found = json.loads(busbox("map", "first_light", "--json"))
    mapped = sum(slot["size"] for slot in found["slots"])
    gaps = sum(gap["last"] - gap["first"] + 1 for gap in found["gaps"])
    assert mapped + gaps == 1 << 32
    assert found["gaps_complete"] is True


def test_where_tells_what_answers(busbox: Shell) -> None:
    """Compared bits, slot, image, offset, register, field and byte lane of an address."""
    page = busbox("where", "first_light", "0x44000102", "--set", 'slot.lamps.compare="31..24"')
    for part in (
        "lamps at 0x44000000, 0x1000 bytes",
        "partial (compares bits 31..24)",
        "0 of 4,096, counted from 0 (the one at the base); bits 23..12",
        "0x102",
        "lamps.COLOUR.0 (rw)",
        "2: SEL(2), data bits 23..16, lanes 0100",
        "RED, bits 23..16 (rw)",
    ):
        assert part in page
    page = busbox("where", "first_light", "0x44005102", "--set", 'slot.lamps.compare="31..24"')
    assert "5 of 4,096, counted from 0 (begins at 0x44005000)" in page


def test_where_tells_why_nothing_answers(busbox: Shell) -> None:
    """For each slot the bits that differ, then the nearest slot and its register."""
    page = " ".join(busbox("where", "first_light", "0x44001008").split())
    assert "no slot answers" in page
    assert "full (compares bits 31..12); bit 12 of the address differs" in page
    assert "the nearest slot is lamps at 0x44000000..0x44000fff" in page
    assert "lamps.COUNT" in page


def test_where_takes_several_addresses_and_prints_them_as_one_object(busbox: Shell) -> None:
    """Each address has its part of the page and of the object; null is what does not exist."""
    page = busbox("where", "first_light", "0x44000000", "0x40000004", "0x44001008")
    first, second, third = page.split("\n\n")
    assert "lamps.CONTROL" in first
    assert "levers.SET" in second
    assert "no slot answers" in third
    found = json.loads(busbox("where", "first_light", "0x44000102", "0x44001008", "--json"))
    assert found == {
        "addresses": [
            {
                "address": 0x44000102,
                "slot": "lamps",
                "base": 0x44000000,
                "size": 0x1000,
                "decoded_by": "full (compares bits 31..12)",
                "wins_over": [],
                "image": 0,
                "images": 1,
                "offset": 0x102,
                "register": "COLOUR.0",
                "lane": 2,
                "byte_lanes": "0100",
                "halfword_lanes": "1100",
                "fields": [{"name": "RED", "bits": "23..16", "access": "rw"}],
            },
            {"address": 0x44001008, "slot": None, "nearest": "lamps"},
        ],
        "headers": [],
    }


def test_an_address_without_0x_is_asked_about(busbox: Shell, tmp_path: Path) -> None:
    """A run's finding names the register that the digits reach in hexadecimal."""
    (tmp_path / "slip.steps").write_text("write 0d44000008 1\n", encoding="utf-8")
    page = " ".join(busbox("run", "first_light", "--traffic", "slip.steps").split())
    assert (
        "If the address was written in decimal, 44000008, write 0x44000008 (lamps.COUNT)." in page
    )


def test_where_prints_a_header_as_an_object(busbox: Shell, tmp_path: Path) -> None:
    """The constants of the page are those of the object."""
    (tmp_path / "cabin.h").write_text(CABIN_HEADER, encoding="utf-8")
    (header,) = json.loads(busbox("where", "first_light", "cabin.h", "--json"))["headers"]
    assert header["file"] == "cabin.h"
    registers = {one["name"]: one.get("register") for one in header["addresses"]}
    assert registers["GPIO_OUT"] == "OUT"
    assert registers["LAMP(n)"] == "COLOUR.0"
    assert registers["LOST"] is None
    assert "LEVER_4" in [one["name"] for one in header["others"]]
    assert "ODD" in [one["name"] for one in header["unresolved"]]


def test_where_checks_a_header(busbox: Shell, tmp_path: Path) -> None:
    """What reaches a slot, what reaches no slot, what is not an address, what was not resolved."""
    (tmp_path / "cabin.h").write_text(CABIN_HEADER, encoding="utf-8")
    page = " ".join(busbox("where", "first_light", "cabin.h").split())
    hits, _, rest = page.partition("1 address reaches no slot")
    for part in ("GPIO_OUT ", "levers.OUT", "LAMP(n)", "lamps.COLOUR.0, then every 4 bytes"):
        assert part in hits
    misses, _, others = rest.partition("not used as an address")
    assert "LOST" in misses
    assert "no slot; the nearest slot is lamps at 0x44000000..0x44000fff" in misses
    assert "LEVER_4" in others
    assert "ODD" in others.partition("could not be resolved")[2]
