"""Plays: every thing that can be asked of a run, every refusal, every stray address, in sentences."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

import busbox
from busbox.lessons import Must, Play, slot, slots
from busbox.lessons.checking import check_lesson
from busbox.lessons.declaring import Field, Lesson, Picture
from busbox.lessons.drawing import variant
from busbox.lessons.finding import lesson_of
from busbox.lessons.playing import SENTENCES, fault
from tests.lessons.test_twelve import check_variant

pytestmark = pytest.mark.quick

GAP = 0x5000_0000


def told(steps: str, *must: Must, tables: Any = None, **more: Any) -> str:
    """Return what is told of a play on levers and telegraph."""
    tables = slots("levers", "telegraph") if tables is None else tables
    return fault(Play(slots=tables, steps=steps, must=must, **more), {"letter": 0x42})


@pytest.mark.parametrize(
    ("what", "of", "right", "wrong", "seen"),
    [
        ("ends", "a", "ACK", "ERR", "levers"),
        ("ends", "gap", "ERR", "nobody", "nobody"),
        ("reads", "r", "0x6", "5", "6"),
        ("answers", "a", "levers", "telegraph", "levers"),
        ("answers", "gap", "nobody", "levers", "nobody"),
        ("cycles at most", "a", "2", "1", "2"),
        ("cycles at least", "a", "2", "3", "2"),
        ("cycles at most", "many", "6", "5", "6"),
        ("text", "telegraph", "{letter:char}", "C", '"B"'),
        ("outputs", "levers", "6", "4", "6"),
        ("no finding", "", "byte-lost image-access", "unmapped-access", "1"),
    ],
)
def test_what_must_happen_is_judged_on_the_bus(
    what: str, of: str, right: str, wrong: str, seen: str
) -> None:
    """Each kind holds for what happens, and tells what was seen for anything else."""
    steps = f"""
        write 0x40000000 6 as a
        write {GAP:#x} 1 as gap
        read 0x40000000 as r
        write 0x40000000 6 times 3 as many
        write 0x40001000 {{letter}}
    """
    assert told(steps, Must(what, of, right, "seen {seen}")) == ""
    assert told(steps, Must(what, of, wrong, "seen {seen}")) == f"seen {seen}"
    assert told(steps, Must(what, of, wrong, "seen {seen}", when="letter == 0")) == ""


def test_the_first_thing_that_did_not_happen_is_told() -> None:
    """Of two things that do not hold, the first is told; an access after a hang is never made."""
    silent = {"unanswered": "silence"}
    steps = f"write {GAP:#x} 1 as gap\nread 0x40000000 as never"
    ends = Must("ends", "gap", "nobody", "ended")
    made = Must("answers", "never", "levers", "{seen} at the first, no access after a hang")
    read = Must("reads", "never", "0", "read {seen}")
    assert told(steps, ends, fabric=silent) == ""
    assert told(steps, ends, made, read, fabric=silent).startswith("nobody at the first")
    assert told(steps, read, made, fabric=silent) == "read 0"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"size": 0x3000}, "The bench refuses the size 0x3000 of levers: a decoder that compares bits "
         "needs a power of two of at least 4 bytes."),
        ({"size": 2}, "The bench refuses the size 0x2 of levers: a decoder that compares bits needs a "
         "power of two of at least 4 bytes."),
        ({"base": 0x4000_0800}, "The bench refuses the base 0x40000800 of levers: it is not a "
         "multiple of the size 0x1000."),
        ({"base": 0xFFFF_F000, "size": 0x2000}, "The bench refuses levers: from 0xfffff000, 0x2000 "
         "bytes end beyond the last address 0xffffffff."),
        ({"compare": 0xFFFF_F800}, "The bench refuses the compared bits of levers: they must be bits "
         "31..12 at the most, as the lower ones are inside its 0x1000 bytes."),
        ({"wait": 65_536}, "The bench refuses 65,536 wait states of levers: it can have 0 to 65,535."),
        ({"base": 0x4000_1000}, "The bench refuses this map: levers and telegraph both answer at "
         "0x40001000."),
    ],
)  # fmt: skip
def test_a_bench_that_is_refused_is_told_in_a_sentence(
    changes: dict[str, int], sentence: str
) -> None:
    """Each kind of refusal has its sentence, and is one that a bench file would get, too."""
    tables = (slot("levers", **changes), slot("telegraph"))
    assert told("", tables=tables) == sentence
    assert told("", tables=tables, starts=False, says="it starts") == ""
    given = {key: value for key, value in tables[0].items() if key != "name"}
    if "compare" in given:
        given["compare"] = "31..11"
    other = {key: value for key, value in tables[1].items() if key != "name"}
    bench = busbox.Bench({"clock": "16 MHz", "slot": {"levers": given, "telegraph": other}})
    if changes == {"base": 0x4000_1000}:
        bench = busbox.Bench(bench.keys | {"traffic": []})
        with pytest.raises(busbox.InputError):
            bench.run()
    else:
        with pytest.raises(busbox.InputError):
            bench.devices()


def test_a_bench_that_must_be_refused_and_starts_is_told() -> None:
    """``starts=False`` says its sentence of a bench that starts; a watchdog has its limits."""
    assert told("", starts=False, says="it starts") == "it starts"
    fabric = {"unanswered": "silence", "watchdog": 0}
    assert told("", fabric=fabric) == (
        "The bench refuses a watchdog of 0 cycles: it must be 1 to 1,000,000 here."
    )
    assert len(SENTENCES) == 9


@pytest.mark.parametrize(
    ("address", "sentence"),
    [
        ("0x40000002", "0x40000002 is not a multiple of 4: no word begins there."),
        ("0x100000000", "0x100000000 is no address: the last one is 0xffffffff."),
        ("{0 - 4}", "-0x4 is no address: the last one is 0xffffffff."),
    ],
)
def test_an_address_that_is_none_is_told(address: str, sentence: str) -> None:
    """Words begin at multiples of 4 below 2^32; another address never comes to a run."""
    assert told(f"write {address} 1 as a") == sentence


@pytest.mark.parametrize("line", ["wrte 1 2", "write 1", "read", "read 4 as", "read 4 by 3"])
def test_a_step_that_is_none_is_refused(line: str) -> None:
    """What is no step is named with the form of one."""
    with pytest.raises(ValueError, match="a step must be write ADDRESS DATA, or read ADDRESS"):
        told(line)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Must("end", "a", "ACK"), "what must be one of ends, reads, "),
        (lambda: Must("ends", "a", "OK"), "value must be one of ACK, ERR, nobody, not 'OK'"),
        (lambda: Field("a", "b", "hex"), "kind must be one of number, bits, choice, not 'hex'"),
        (lambda: Picture("plan", ()), "kind must be one of map, decode, access, not 'plan'"),
    ],
)
def test_a_word_that_is_none_is_refused_where_it_is_written(make: Any, message: str) -> None:
    """A kind that does not exist is refused when the lesson is declared, with those that do."""
    with pytest.raises(ValueError) as caught:
        make()
    assert str(caught.value).startswith(message)


def test_the_lesson_of_the_guide_is_checked_as_ours_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The thirteenth lesson that the guide shows passes what the twelve pass, on 20 seeds."""
    page = Path(busbox.__file__).parent / "guide" / "pages" / "lessons.md"
    text = re.search(r"^`mine.py`:\n\n```python\n(.*?)^```$", page.read_text("utf-8"), re.M | re.S)
    assert text is not None
    (tmp_path / "mine.py").write_text(text[1], encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    own: Lesson = lesson_of("mine.py")
    check_lesson(own, "mine.py")
    for seed in range(1, 21):
        check_variant(variant(own, seed))
