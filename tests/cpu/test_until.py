"""Untils and kept words, by rule 12g of the semantics page, on every engine."""

from __future__ import annotations

from typing import Any

import pytest

from busbox import Bench, Recording
from busbox.basics.errors import InputError
from busbox.cpu import Bus
from busbox.cpu.steps import AccessStep, Handler, Named, Poll, Step, Until

NOW, GONE = Named("clock", "NOW"), 0x9000
ENGINES = pytest.mark.parametrize("engine", ["reference", "python", "llvm"])


def run(traffic: object, engine: str = "reference", **keys: Any) -> Recording:
    """Return a run with a timer, whose NOW is the cycle in which a read ends."""
    slot = {"model": "timer", "base": 0x1000, "size": 0x20, "wait": 0}
    bench = Bench({"clock": "1 MHz", "slot": {"clock": slot}, **keys})
    return bench.run(engine, traffic=traffic)


@ENGINES
def test_an_until_ends_at_the_distance(engine: str) -> None:
    """It reads in s, s + every + 1, ... until the counter has moved on by 10 since the kept word."""
    start = AccessStep(False, NOW, keep="start", wait=4)
    until = Until(NOW, 10, every=2, since="start", wait=1)
    seen = run([start, until], engine)
    # The first read ends in cycle 5; so it ends with the first one in cycle 15 or later.
    assert seen.accesses.end.tolist() == [5, 7, 10, 13, 16]
    assert seen.accesses.step.tolist() == [0, 1, 1, 1, 1]


@ENGINES
def test_an_until_keeps_its_last_word(engine: str) -> None:
    """Untils that keep their own word under the name that they subtract follow one another."""
    steps = [AccessStep(False, NOW, keep="t")] + [Until(NOW, 5, since="t", keep="t")] * 2
    ends = run(steps, engine).accesses.end.tolist()
    assert ends == [1, *range(2, 7), *range(7, 12)]


@ENGINES
def test_a_difference_is_modulo_its_mask(engine: str) -> None:
    """1 - 0xfffffffe is 3 in 32 bits, and of 4 bits of it 3 are left."""
    assert run([Until(NOW, 3, since=0xFFFF_FFFE)], engine).accesses.end.tolist() == [1]
    assert run([Until(NOW, 6, mask=0xF, since=0xFFFF_FFFE)], engine).accesses.end.tolist() == [
        1,
        2,
        3,
        4,
    ]


@ENGINES
def test_an_error_never_ends_an_until_and_keeps_0(engine: str) -> None:
    """Reads that end with ERR are repeated up to the limit; the word kept is 0."""
    steps: list[Step] = [
        AccessStep(False, NOW, keep="t"),
        Until(GONE, 0, limit=2, keep="t"),
        Until(NOW, 8, since="t"),
    ]
    seen = run(steps, engine)
    assert seen.accesses.end.tolist() == [1, 3, 5, 6, 7, 8]
    (given_up,) = seen.polls_given_up
    assert (given_up.access, given_up.limit, given_up.at_least) == (2, 2, True)


@ENGINES
def test_a_handler_shares_kept_words(engine: str) -> None:
    """A word that a handler keeps between two reads of an until is subtracted from then on."""
    quiet = AccessStep(True, Named("clock", "STATUS"), 1)
    steps: list[Step] = [
        Handler("tick", "clock.ring", (AccessStep(False, NOW, keep="t"), quiet)),
        AccessStep(True, Named("clock", "ALARM"), 8),
        AccessStep(True, Named("clock", "CONTROL"), 1),
        AccessStep(False, NOW, keep="t"),
        Until(NOW, 9, since="t", every=4, limit=40),
    ]
    seen = run(steps, engine).accesses
    kept = int(seen.data[seen.step == 4][0])
    words = seen.data[seen.step == 3]
    later = words[words > kept].tolist()
    assert kept > 8
    assert words[0] == 4
    assert len(later) > 1
    assert later[-1] - kept > 9  # so that == would not end it there
    assert [word - kept >= 9 for word in later] == [False] * (len(later) - 1) + [True]


def test_too_many_names_are_refused() -> None:
    """63 names of kept words are possible; one more is refused by its name."""
    steps: list[Step] = [AccessStep(False, NOW, keep=f"word_{number}") for number in range(64)]
    assert len(run(steps[:63]).accesses) == 63
    with pytest.raises(InputError, match="at most 63 names of kept words are possible; 'word_63'"):
        run(steps)


def test_an_until_that_gives_up_is_told() -> None:
    """The finding says what an until waited for, by the name of the kept word."""
    steps: list[Step] = [
        AccessStep(False, NOW, keep="start"),
        Until(NOW, 5000, since="start", limit=3),
    ]
    (finding,) = run(steps).findings
    assert finding.message == (
        "until of clock.NOW gave up after 3 reads: the last one returned 0x4, and "
        "(word - start) >= 5,000 was expected."
    )


def test_a_driver_waits_for_a_counter() -> None:
    """bus.until gives the last word, and takes the word to subtract."""
    words = []

    def firmware(bus: Bus) -> None:
        start = bus.read("clock.NOW")
        words.append(bus.until("clock.NOW", 10, since=start, every=3))
        with pytest.raises(ValueError, match="value must be at most the mask 0xff, not 0x100"):
            bus.until("clock.NOW", 256, mask=0xFF)
        with pytest.raises(ValueError, match="since must be a whole number"):
            bus.until("clock.NOW", 2, since=-1)
        with pytest.raises(ValueError, match=r"limit must be a whole number from 1 to .* not 0"):
            bus.until("clock.NOW", 2, limit=0)

    assert run(firmware).accesses.end.tolist() == [1, 2, 6, 10, 14]
    assert words == [14]


def test_a_poll_keeps_its_last_word() -> None:
    """A poll keeps the word that ended it."""
    steps: list[Step] = [Poll(NOW, 4, keep="t"), Until(NOW, 3, since="t")]
    assert run(steps).accesses.end.tolist() == [1, 2, 3, 4, 5, 6, 7]
