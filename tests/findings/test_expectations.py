"""What must hold after a run: each kind of expectation, met and not, and what was seen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox import Bench, Recording
from busbox.basics.errors import InputError
from busbox.formats.text import read_text
from busbox.recording.judged import Verdict

CABIN: dict[str, Any] = {
    "clock": "16 MHz",
    "slot": {
        "levers": {"model": "gpio", "base": 0x1000, "size": 0x100, "wait": 0},
        "telegraph": {"model": "uart", "base": 0x3000, "size": 0x10, "wait": 0, "divisor": 4},
        "lamps": {
            "model": "pulse_led", "base": 0x4000, "size": 0x1000, "wait": 0, "lamps": 2, "count": 2,
            "high": 0x000D_0007, "period": 0x03C0_0014,
        },
    },
    "attach": {
        "string": {"kind": "lamp_string", "pin": "lamps.line", "count": 2, "profile": "P4"},
        "paper": {"kind": "terminal", "pin": "telegraph.tx", "baud": 4_000_000},
    },
}  # fmt: skip
STEPS = """\
write telegraph.DATA 65
write lamps.COLOUR.0 0x400000
write lamps.COLOUR.1 0x004000
write lamps.CONTROL 1
poll lamps.STATUS & 1 == 0 every 10 limit 1000
"""


@pytest.fixture(scope="module")
def evening() -> dict[str, Any]:
    """Return a bench that says A, and lights one red and one green lamp."""
    return CABIN | {"traffic": list(read_text(STEPS.splitlines(), "steps"))}


def judged(evening: dict[str, Any], *expectations: dict[str, Any]) -> Recording:
    """Return the recording of the bench with these expectations."""
    return Bench(evening | {"expect": list(expectations)}).run("python")


#: Accesses of each end: two to levers without and one with a wait, ERR, and a watchdog.
ENDS = """\
write 0x1000 1
read 0x1000
write 0x2000 1
read 0x5000
write 0x9000 1
"""
ROOM: dict[str, Any] = {
    "clock": "16 MHz",
    "fabric": {"watchdog": 6},
    "slot": {
        "levers": {"model": "gpio", "base": 0x1000, "size": 0x100, "wait": 0},
        "book": {"model": "memory", "base": 0x2000, "size": 0x100, "wait": 3},
        "slow": {"model": "gpio", "base": 0x5000, "size": 0x100, "wait": 20},
    },
}


@pytest.mark.parametrize(
    ("expect", "met", "seen"),
    [
        # 1 + 1 + 4 + 7 + 2: rules 4, 5 and 7 of the semantics page, by hand.
        ({"cycles": {"exactly": 15}}, True, "15"),
        ({"cycles": {"at_most": 14}}, False, "15"),
        ({"cycles": {"of": "levers", "exactly": 2}}, True, "2"),
        ({"cycles": {"of": "book", "at_least": 5}}, False, "4"),
        ({"cycles": {"of": "slow", "exactly": 7}}, True, "7"),
        ({"errors": {"exactly": 2}}, True, "2"),
        ({"errors": {"of": "slow", "exactly": 1}}, True, "1"),
        ({"errors": {"of": "levers", "at_least": 1}}, False, "0"),
        ({"answered": {"address": 0x1000, "by": "levers"}}, True, "levers"),
        ({"answered": {"address": 0x1000, "by": "nobody"}}, False, "levers"),
        ({"answered": {"address": 0x1004, "by": "levers"}}, False, "no access"),
        ({"answered": {"address": 0x5000, "by": "nobody"}}, True, "nobody"),
        ({"answered": {"address": 0x5000, "by": "slow"}}, False, "nobody"),
        ({"answered": {"address": 0x9000, "by": "nobody"}}, True, "nobody"),
        ({"register": {"of": "book.WORD.0", "is": 1}}, True, "0x1"),
        ({"register": {"of": "book.WORD.1", "is": 1}}, False, "0x0"),
    ],
)
@pytest.mark.parametrize("engine", ["python", "reference"])
def test_what_happened_on_the_bus_can_be_expected(
    expect: dict[str, Any], met: bool, seen: str, engine: str
) -> None:
    """Cycles, errors and who answered, of all accesses or one slot; and a word of a memory."""
    keys = ROOM | {"traffic": list(read_text(ENDS.splitlines(), "steps")), "expect": [expect]}
    (verdict,) = Bench(keys).run(engine).verdicts
    assert (verdict.met, verdict.seen) == (met, seen)


def test_who_answered_may_change_during_a_run() -> None:
    """One reset cuts an access off, which counts for nobody and for no slot."""
    keys = ROOM | {
        "traffic": list(read_text(["read 0x5000", "read 0x1000"], "steps")),
        "after_reset": "continue",
        "reset": [{"at": 3, "length": 1}],
        "expect": [
            {"answered": {"address": 0x5000, "by": "slow"}},
            {"answered": {"address": 0x1000, "by": "levers"}},
        ],
    }
    slow, levers = Bench(keys).run("python").verdicts
    assert (slow.met, slow.seen, levers.met) == (False, "no access", True)


@pytest.mark.parametrize(
    ("expect", "message"),
    [
        ({"cycles": {"of": "levres", "exactly": 1}},
         "expect.0.cycles.of: must be a slot, not 'levres'; did you mean 'levers'?"),
        ({"errors": {}}, "expect.0.errors: must have one of at_least, at_most or exactly, not nothing"),
        ({"answered": {"address": 0x1002, "by": "levers"}},
         "expect.0.answered.address: must be a multiple of 4 of 32 bits, not 0x1002"),
        ({"answered": {"address": "0x1000", "by": "levers"}},
         "expect.0.answered.address: must be a multiple of 4 of 32 bits, not '0x1000'"),
        ({"answered": {"address": 0x1000, "by": "nobdy"}},
         "expect.0.answered.by: must be a slot, or 'nobody', not 'nobdy'; did you mean 'nobody'?"),
    ],
)  # fmt: skip
def test_a_mistake_in_one_about_accesses_is_refused(expect: dict[str, Any], message: str) -> None:
    """At the key, when the bench is loaded."""
    with pytest.raises(InputError) as raised:
        Bench(ROOM | {"expect": [expect]}).system()
    assert message in str(raised.value)


@pytest.mark.parametrize(
    ("expect", "met", "seen"),
    [
        ({"text": {"of": "telegraph", "is": "A"}}, True, "'A'"),
        ({"text": {"of": "telegraph", "is": "B"}}, False, "'A'"),
        ({"text": {"of": "telegraph", "contains": ""}}, True, "'A'"),
        ({"text": {"of": "telegraph", "ends_with": "B"}}, False, "'A'"),
        ({"text": {"of": "paper", "is": "A"}}, True, "'A'"),
        ({"level": {"pin": "telegraph.tx", "at": 3, "is": 0}}, True, "0"),
        ({"level": {"pin": "telegraph.tx", "at": 2, "is": 0}}, False, "1"),
        ({"level": {"pin": "telegraph.tx", "is": 1}}, True, "1"),
        ({"frames": {"of": "lamps", "exactly": 1}}, True, "1"),
        ({"frames": {"of": "string", "exactly": 1}}, True, "1"),
        ({"frames": {"of": "string", "at_least": 2}}, False, "1"),
        ({"frames": {"of": "string", "at_most": 0}}, False, "1"),
        ({"colours": {"of": "string", "are": ["400000", "004000"]}}, True, "400000 004000"),
        ({"colours": {"of": "lamps", "frame": 0, "are": ["400000"]}}, False, "400000 004000"),
        ({"colours": {"of": "lamps", "frame": 1, "are": []}}, False, "1 frame"),
        ({"findings": {"rule": "byte-lost", "exactly": 0}}, True, "0"),
        ({"findings": {"rule": "unmapped-access", "at_least": 1}}, False, "0"),
        ({"register": {"of": "levers.ENABLE", "is": 0xFFFF_FFFF}}, True, "0xffffffff"),
        ({"register": {"of": "levers.OUT", "is": 1}}, False, "0x0"),
    ],
)
def test_each_kind_is_judged(
    expect: dict[str, Any], met: bool, seen: str, evening: dict[str, Any]
) -> None:
    """An expectation is met or not, and what was seen is told; ``of`` is a slot or an attachment."""
    (verdict,) = judged(evening, expect).verdicts
    assert (verdict.met, verdict.seen) == (met, seen)


def test_a_level_behind_the_end_of_the_run_is_not_met(evening: dict[str, Any]) -> None:
    """A run that has ended before shows no level: the verdict says so, with its length."""
    recording = judged(evening, {"level": {"pin": "telegraph.tx", "at": "1 s", "is": 1}})
    told = f"the run ended before that, after {recording.cycles:,} cycles"
    assert recording.verdicts == (
        Verdict("level of telegraph.tx in cycle 16,000,000 is 1", False, told),
    )


def test_verdicts_stand_in_the_order_of_the_bench_and_survive_a_file(
    evening: dict[str, Any], tmp_path: Path
) -> None:
    """Each ``[[expect]]`` has its verdict at its place, and a saved recording has the same ones."""
    expectations = (
        {"text": {"of": "telegraph", "contains": "B"}},
        {"register": {"of": "lamps.COUNT", "is": 2}},
    )
    recording = judged(evening, *expectations)
    assert recording.verdicts == (
        Verdict("text of telegraph contains 'B'", False, "'A'"),
        Verdict("register lamps.COUNT at the end is 0x2", True, "0x2"),
    )
    recording.save(tmp_path / "evening.recording.npz")
    assert Recording.load(tmp_path / "evening.recording.npz").verdicts == recording.verdicts


MEMORY: dict[str, Any] = {
    "clock": "16 MHz",
    "slot": {"book": {"model": "memory", "base": 0x2000_0000, "size": 0x1000}},
    "traffic": list(
        read_text(["write book.WORD.3 0x15", "write book.WORD.3 7 lanes 0001"], "steps")
    ),
    "expect": [
        {"register": {"of": "book.WORD.3", "is": 7}},
        {"register": {"of": "book.WORD.3", "is": 0x15}},
        {"register": {"of": "book.WORD.1023", "is": 0}},
    ],
}


@pytest.mark.parametrize("kept_as", ["model", "hardware"])
@pytest.mark.parametrize("engine", ["reference", "python", "llvm"])
def test_a_word_of_a_memory_is_a_register(engine: str, kept_as: str) -> None:
    """A memory is not listed, but a word that an expectation names is looked up at the end."""
    bench = Bench(MEMORY).with_values([f"slot.book.as={kept_as}"])
    recording = bench.run(engine)
    assert [(one.met, one.seen) for one in recording.verdicts] == [
        (True, "0x7"), (False, "0x7"), (True, "0x0"),
    ]  # fmt: skip
    assert recording.registers["book"] == {"WORD.3": 7, "WORD.1023": 0}
