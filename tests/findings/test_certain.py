"""How far a run is certain, and what the bench vouches for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.cpu.steps import AccessStep
from busbox.exports.json_report import as_object
from busbox.recording import Certainty, Recording

CABIN: dict[str, Any] = {
    "clock": "16 MHz",
    "slot": {
        "levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000, "width": 8},
        "book": {"model": "memory", "base": 0x2000_0000, "size": 0x100},
        "lamps": {"model": "pulse_led", "base": 0x4400_0000, "size": 0x1000, "lamps": 2},
    },
    "attach": {"string": {"kind": "lamp_string", "pin": "lamps.line", "count": 2}},
}


def bench(tmp_path: Path, steps: str, **keys: Any) -> Bench:
    """Return the cabin with steps, and keys of its traffic."""
    (tmp_path / "evening.steps").write_text(steps, encoding="utf-8")
    return Bench(CABIN | {"traffic": {"file": "evening.steps", **keys}}, folder=tmp_path)


def certain(recording: Recording) -> Certainty:
    """Return what is certain of a judged recording."""
    assert recording.certain is not None
    return recording.certain


def refused(one: Bench) -> str:
    """Return the message with which a bench is refused."""
    with pytest.raises(InputError) as caught:
        one.system()
    return str(caught.value)


def test_the_first_other_word_ends_what_is_certain(tmp_path: Path) -> None:
    """The end is the first read, in order, whose word is not the recorded one; findings follow."""
    steps = "write 0x20000000 5\nread 0x20000000 = 5\nread 0x20000000 = 4\nread 0x20000000 = 3\n"
    recording = bench(tmp_path, steps + "read 0x70000000\n").run()
    one = certain(recording)
    end = int(recording.accesses.end[2])
    assert one == Certainty("listed", 3, 0, end, 2, "book.WORD.0 read 0x5, recorded 0x4")
    told = f"certain until {end * 62.5:g} ns, access 2: book.WORD.0 read 0x5, recorded 0x4"
    assert one.text(16_000_000) == told
    doubts = [(finding.rule, finding.access, finding.doubtful) for finding in recording.findings]
    assert doubts == [
        ("read-differs", 2, False), ("read-differs", 3, True), ("unmapped-access", 4, True),
    ]  # fmt: skip
    told = as_object(recording)
    assert (told["certain"]["until_cycle"], told["certain"]["access"]) == (end, 2)
    assert [finding["doubtful"] for finding in told["findings"]] == [False, True, True]


@pytest.mark.parametrize(
    "steps",
    [
        "write 0x20000000 0x5501\nread 0x20000000 = 0x01 lanes 0001",
        "poll 0x20000000 & 1 == 1 every 2 limit 3",
        "read 0x20000000",
        "write 0x20000000 7",
    ],
)
def test_what_is_no_doubt(tmp_path: Path, steps: str) -> None:
    """Reads without a recorded word, polls, writes and bytes that are not selected are no doubt."""
    assert not certain(bench(tmp_path, steps + "\n").run()).doubt


def test_an_error_where_a_word_was_recorded_is_a_doubt(tmp_path: Path) -> None:
    """A read that ends with ERR has another end than the recorded one."""
    recording = bench(tmp_path, "read 0x70000000 = 0x0\n").run()
    assert certain(recording).differs == "0x70000000 ended with ERR, recorded 0x0"


@given(st.lists(st.tuples(st.sampled_from([0, 4, 8]), st.integers(0, 3)), min_size=1, max_size=12))
def test_it_is_what_a_walk_over_the_steps_finds(reads: list[tuple[int, int]]) -> None:
    """The end is that of a walk over the reads, whatever they are."""
    steps = [AccessStep(False, 0x2000_0000 + offset, word) for offset, word in reads]
    keys = CABIN | {"slot": {"book": CABIN["slot"]["book"] | {"kind": "ram"}}, "attach": {}}
    recording = Bench(keys | {"traffic": steps}).run()
    first = next((number for number, (_, word) in enumerate(reads) if word), -1)
    assert certain(recording).access == first
    assert certain(recording).compared == len(reads)


def test_harmless_reads_are_no_doubt(tmp_path: Path) -> None:
    """Reads that the bench vouches for are counted, neither a doubt nor a finding."""
    steps = "read levers.IN = 1 pc 0x10\nread levers.IN = 1 pc 0x20\n"
    every = bench(tmp_path, steps, harmless=["levers.IN"]).run()
    assert (certain(every), every.counts) == (Certainty("listed", 2, 2), {})
    one = bench(tmp_path, steps, harmless=["levers.IN@0x10"]).run()
    assert (certain(one).vouched, certain(one).access) == (1, 1)
    assert [finding.access for finding in one.findings] == [1]
    assert "harmless differences: 1" in certain(one).text(16_000_000)


@pytest.mark.parametrize(("name", "harmless"), [("WORD.0", 1), ("WORD", 2), ("WORD.7", 0)])
def test_registers_of_an_array_can_be_harmless(tmp_path: Path, name: str, harmless: int) -> None:
    """One register by its index, as a doubt names it, or all of an array."""
    steps = "read 0x20000000 = 5\nread 0x20000004 = 5\n"
    one = bench(tmp_path, steps, harmless=[f"book.{name}"]).run()
    assert certain(one).vouched == harmless


def test_sources_that_see_the_words_are_certain(tmp_path: Path) -> None:
    """A function decides with the words of the devices, so nothing is in doubt."""
    recording = Bench(CABIN | {"traffic": lambda bus: bus.read("levers.IN")}).run()
    assert certain(recording) == Certainty("decided")
    assert "throughout" in certain(recording).text(1)


def test_a_recording_keeps_what_is_certain(tmp_path: Path) -> None:
    """Saved and loaded, a recording says the same of its certainty."""
    recording = bench(tmp_path, "read levers.IN = 1\n").run()
    recording.save(tmp_path / "one.recording.npz")
    assert Recording.load(tmp_path / "one.recording.npz") == recording


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({"harmless": "levers.IN"}, "must be a list of registers"),
        ({"harmless": ["levers"]}, "must name registers such as 'clock.NOW', not 'levers'"),
        ({"harmless": ["lever.IN"]}, "there is no slot 'lever'; did you mean 'levers'?"),
        ({"harmless": ["levers.INT"]}, "levers has no register 'INT'"),
        ({"harmless": ["levers.IN@here"]}, "the address after @"),
        ({"covers": "levers"}, "must be a list of slots"),
        ({"covers": ["lever"]}, "there is no slot 'lever'; did you mean 'levers'?"),
        ({"covers": ["lamps"]}, "must also name levers: the traffic has accesses to it"),
        ({"covers": ["lamps", "levers"]}, "must also name book: the traffic has accesses to it"),
    ],
)
def test_mistakes_in_what_is_vouched_for(
    tmp_path: Path, keys: dict[str, Any], message: str
) -> None:
    """A wrong key of the trust in a recording is refused with the nearest name."""
    steps = "read levers.IN = 1\nread 0x20000000\n"
    assert message in refused(bench(tmp_path, steps, **keys))


def test_a_change_outside_a_recording_is_refused(tmp_path: Path) -> None:
    """A change that could act only through accesses that were not recorded is refused."""
    one = bench(tmp_path, "read levers.IN = 0\n", covers=["levers"])
    one.system()
    one.with_values(["slot.levers.wait=2", "clock=8 MHz"]).system()
    for change in ("slot.lamps.wait=2", "attach.string.count=60"):
        message = refused(one.with_values([change]))
        assert "can act only through accesses to lamps, and the recording has none" in message
        assert message.startswith("--set")
