"""The check of conformance: what is right is let pass, and each mistake is named."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from busbox.basics.errors import EngineError
from busbox.bench.bench import Bench
from busbox.bus.hardware import Hardware
from busbox.bus.wishbone.rules import RULES, RuleChecker, Sample
from busbox.check.port import OWN, Conformance, Subject, check, find, timing_of
from busbox.check.port.exercise import PATIENCE
from tests.check.port import broken_devices as devices
from tests.engines.test_engine_limits import REFUSED, hardware_with

CLOCK_HZ = 16_000_000
CYCLES = 600
#: The rules that a device can break, and those that the check keeps as a master.
DEVICE = ("3.00", "3.35", "3.45", "3.50", "answered", "cut-off")
MASTER = ("3.20", "3.25", "3.60", "3.1.3.1")


def subject_of(device: type, **settings: Any) -> Subject:
    """Return a device of the tests in a slot of 16 words, or another component."""
    if not issubclass(device, Hardware):
        return Subject(device.__name__, device.__name__, lambda: device(**settings))
    slot = {"model": device, "base": 0, "size": 64, "wait": device.least_wait}
    (built,) = Bench({"clock": "16 MHz", "slot": {"device": slot}}).devices()
    return Subject.of_device(built, CLOCK_HZ)


def broken(result: Conformance) -> set[str]:
    """Return the ids of the rules that are broken."""
    return {one.rule for one in result.outcomes if one.state == "broken"}


@pytest.mark.quick
@pytest.mark.parametrize(
    ("name", "timing"),
    [("gpio", (1, 0)), ("timer", (1, 0)), ("uart", (1, 0)), ("memory", (1, None))],
)
def test_every_twin_holds_what_a_device_can_break(
    name: str, timing: tuple[int | None, int | None]
) -> None:
    """All six rules are exercised and held, and what can be measured is house timing.

    A word of memory moves by a write alone, and no write can end in the cycle before a read of a slot
    with a wait state: no cycle tells what cycle the read shows.
    """
    result = check(find(name, (), 0x400, CLOCK_HZ), cycles=1000)
    states = {one.rule: (one.state, one.times > 5) for one in result.outcomes}
    assert {rule: states[rule] for rule in DEVICE} == dict.fromkeys(DEVICE, ("held", True))
    assert result.held
    assert (result.timing.commit, result.timing.sample) == timing
    assert result.timing.house is (timing == (1, 0))
    if name == "memory":
        assert result.timing.read_text == (
            "reads: not measured, no register changes in the cycle before a read ends"
        )


@pytest.mark.parametrize(
    ("device", "rules", "seen"),
    [
        (devices.Box, set(), {}),
        (devices.Slow, set(), {}),
        (devices.CommitsLate, set(), {}),
        (devices.ReadsEarly, set(), {}),
        (devices.Patient, set(), {}),
        (devices.Refuses, set(), {}),
        (devices.Plain, set(), {}),
        (devices.AnswersCyc, {"3.35", "3.50"}, {"3.35": "ACK asserted without a request"}),
        (devices.Levered, {"3.00", "3.35", "3.50"}, {"3.35": "ACK asserted without a request"}),
        (devices.AnswersOnceMore, {"3.50"}, {"3.50": "ACK asserted although STB fell"}),
        (
            devices.AnswersWhatWasCutOff,
            {"3.50", "cut-off"},
            {"3.50": "ACK asserted although STB fell"},
        ),
        (devices.AnswersTwice, {"3.45"}, {"3.45": "ACK and ERR asserted together"}),
        (devices.AnswersInReset, {"3.00"}, {"3.00": "ACK asserted in reset"}),
        (devices.CommitsEarly, {"cut-off"}, {"cut-off": "KEPT shows "}),
        (devices.CountsWhatBegins, {"cut-off"}, {"cut-off": "HITS shows "}),
        (devices.CountsWhatIsNear, {"cut-off"}, {"cut-off": "HITS shows "}),
        (devices.Silent, {"answered"}, {"answered": "no answer for 64 cycles"}),
        (devices.SilentInHoles, {"answered"}, {"answered": "no answer for 64 cycles"}),
    ],
    ids=lambda value: value.__name__ if isinstance(value, type) else None,
)
def test_each_mistake_breaks_its_rule_and_no_other(
    device: type, rules: set[str], seen: dict[str, str]
) -> None:
    """Broken are the rules of the cycle, and what was seen first says so."""
    result = check(subject_of(device), cycles=CYCLES)
    assert broken(result) == rules
    assert result.held == (not rules)
    for one in result.outcomes:
        if one.rule in seen:
            assert one.evidence is not None
            assert one.evidence.seen.startswith(seen[one.rule])
            assert one.breaches > 0


def test_the_first_breach_is_shown_with_its_cycles() -> None:
    """STB has fallen in the cycle of the breach, the cycle before has the answer, both are in text."""
    result = check(subject_of(devices.AnswersOnceMore), cycles=CYCLES)
    (one,) = (one for one in result.outcomes if one.state == "broken")
    evidence = one.evidence
    assert evidence is not None
    assert (evidence.before.stb, evidence.before.ack) == (1, 1)
    assert (evidence.sample.stb, evidence.sample.ack) == (0, 1)
    head, before, cycle = evidence.lines()
    assert head.split()[:5] == ["cycle", "RST", "CYC", "STB", "WE"]
    assert before.split()[0] == str(evidence.number - 1)
    assert cycle.split()[0] == str(evidence.number)
    for name in ("STB", "ACK", "ERR"):
        for line, shown in ((before, evidence.before), (cycle, evidence.sample)):
            assert line[head.index(name) + 1] == str(getattr(shown, name.lower()))


def test_a_device_that_never_answers_is_cut_off_after_64_cycles(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """STB is never up for longer, each such access counts as a breach, and nothing is measured."""
    cycles = recorded(monkeypatch)
    result = check(subject_of(devices.Silent), cycles=CYCLES)
    lengths = runs_of([sample.stb for sample in cycles])
    assert max(lengths) == PATIENCE
    (one,) = (one for one in result.outcomes if one.rule == "answered")
    assert one.breaches == result.counts["unanswered"] == lengths.count(PATIENCE)
    assert result.counts["answered"] == 0
    states = {one.rule: (one.state, one.note) for one in result.outcomes}
    assert states["3.45"] == ("not exercised", "nothing was answered")
    assert result.timing.text == (
        "writes: not measured, no access ended with ACK alone; "
        "reads: not measured, no access ended with ACK alone"
    )


def test_every_rule_is_listed_once_with_the_reason_if_it_was_not_exercised() -> None:
    """The checker's rules in their order, then those of the check; a plain component has no watch."""
    result = check(subject_of(devices.Plain), cycles=CYCLES)
    assert [one.rule for one in result.outcomes] == [*(rule.id for rule in RULES), *OWN]
    notes = {one.rule: one.note for one in result.outcomes if one.state == "not exercised"}
    assert notes == {
        **dict.fromkeys(MASTER, "applies to the master, which is this checker"),
        "3.57": "applies to pipelined mode; the port uses standard mode",
        "3.1.3.2": "applies to pipelined mode; the port uses standard mode",
        "3.80": "applies to block transfers; the bus has single accesses",
        "3.85": "applies to block transfers; the bus has single accesses",
        "cut-off": "it has no watch port",
    }


def test_copies_that_differ_by_themselves_are_no_breach() -> None:
    """Accesses that are cut off are not blamed for what two copies do without any."""
    devices.EachItsOwn.built = 0
    result = check(subject_of(devices.EachItsOwn), cycles=CYCLES)
    (one,) = (one for one in result.outcomes if one.rule == "cut-off")
    assert (one.state, one.note) == (
        "not exercised",
        "two copies of the component behave differently",
    )


@pytest.mark.parametrize(
    ("device", "settings", "commit", "sample", "text"),
    [
        (
            devices.Box, {}, 1, 0,
            "commits a write in e + 1: standard timing (seen in KEPT); "
            "a read shows e: standard timing (seen in KEPT, COUNT)",
        ),
        (
            devices.CommitsLate, {}, 2, 0,
            "commits a write in e + 2: legal, but not the standard timing (seen in KEPT); "
            "a read shows e: standard timing (seen in COUNT)",
        ),
        (
            devices.CommitsEarly, {}, 0, 0,
            "commits a write in e: too early, the access may still be cut off (seen in KEPT); "
            "a read shows e: standard timing (seen in COUNT)",
        ),
        (
            devices.ReadsEarly, {}, 1, -1,
            "commits a write in e + 1: standard timing (seen in KEPT); "
            "a read shows e - 1: legal, but not the standard timing (seen in COUNT)",
        ),
        (
            devices.CommitsDifferently, {}, None, 0,
            "writes: not measured, registers differ: e + 1 in KEPT, e + 2 in HITS; "
            "a read shows e: standard timing (seen in KEPT)",
        ),
        (
            devices.Plain, {}, 1, None,
            "commits a write in e + 1: standard timing (by reading back the word at 0x4); "
            "reads: not measured, as it has no watch port",
        ),
        (
            devices.Plain, {"late": 1}, 2, None,
            "commits a write in e + 2: legal, but not the standard timing (by reading back the word "
            "at 0x4); "
            "reads: not measured, as it has no watch port",
        ),
        (
            devices.Plain, {"slow": 1}, None, None,
            "writes: not measured, the first read back ends in e + 2 and already shows the value; "
            "reads: not measured, as it has no watch port",
        ),
        (
            devices.Forgetful, {}, None, None,
            "writes: not measured, none of the first 16 words reads back what was written; "
            "reads: not measured, as it has no watch port",
        ),
    ],
)  # fmt: skip
def test_timing_is_measured_from_the_cycle_of_the_answer(
    device: type, settings: dict[str, Any], commit: int | None, sample: int | None, text: str
) -> None:
    """Both cycles, what they were seen in, and why there is none where nothing shows it."""
    for seed in range(3):
        timing = timing_of(subject_of(device, **settings), seed)
        assert (timing.commit, timing.sample, timing.text) == (commit, sample, text)
        assert timing.house is ((commit, sample) == (1, 0))


def test_reads_that_differ_by_register_have_no_one_timing() -> None:
    """COUNT is read through a register, and HITS is not but counts too: each is told."""
    timing = timing_of(subject_of(devices.ReadsBothWays))
    assert timing.sample is None
    assert timing.read_text == "reads: not measured, registers differ: e - 1 in COUNT, e in HITS"


def test_a_device_gets_the_wait_that_it_asks_for() -> None:
    """Where the address does not stand before STB for as long, the same device breaks a rule."""
    subject = subject_of(devices.Patient)
    assert subject.least_wait == 2
    assert broken(check(replace(subject, least_wait=1), cycles=CYCLES)) == {"3.45"}


def recorded(monkeypatch: pytest.MonkeyPatch) -> list[Sample]:
    """Return the list that every cycle of random traffic goes into."""
    cycles: list[Sample] = []
    original = RuleChecker.take

    def take(checker: RuleChecker, sample: Sample) -> Any:
        cycles.append(sample)
        return original(checker, sample)

    monkeypatch.setattr(RuleChecker, "take", take)
    return cycles


def runs_of(levels: list[int]) -> list[int]:
    """Return the lengths of the runs of ones."""
    text = "".join(map(str, map(int, levels)))
    return [len(part) for part in text.split("0") if part]


def test_random_traffic_is_what_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """Resets of 1 to 3 cycles hit waits, requests and idle cycles; every set of lanes and word is
    met.
    """
    cycles = recorded(monkeypatch)
    check(subject_of(devices.Slow), cycles=4000)
    assert set(runs_of([sample.rst for sample in cycles[1:]])) == {1, 2, 3}
    pairs = list(pairwise(cycles))
    struck = {(one.cyc, one.stb) for one, two in pairs if two.rst and not one.rst}
    assert struck == {(0, 0), (1, 0), (1, 1)}
    requests = [sample for sample in cycles if sample.stb]
    assert {sample.sel for sample in requests} == set(range(16))
    assert {sample.adr for sample in requests} == set(range(16))
    assert {sample.we for sample in requests} == {0, 1}
    idle = [(one, two) for one, two in pairs if not one.stb and not two.stb]
    for name in ("cyc", "we", "adr", "sel", "write_data"):
        assert any(getattr(one, name) != getattr(two, name) for one, two in idle), name
    # Slow answers in its fourth cycle of STB: shorter runs were cut off (an ERR stands for it).
    assert set(runs_of([sample.stb and not sample.rst for sample in cycles])) >= {1, 2, 3, 4}
    stands = {
        lead
        for at, (one, two) in enumerate(pairs)
        if two.stb and not one.stb
        for lead in range(4)
        if at >= 4 and all(cycles[at - back].adr == two.adr for back in range(lead))
    }
    assert stands == {0, 1, 2, 3}


@pytest.mark.parametrize("device", [devices.Box, devices.AnswersCyc, devices.Plain])
def test_a_seed_gives_the_same_result_twice(device: type) -> None:
    """Counts, rules, evidence and timing are equal; another seed plays other traffic."""
    subject = subject_of(device)
    one, two, other = (check(subject, seed, CYCLES) for seed in (3, 3, 4))
    assert one == two
    assert (one.counts, one.outcomes) != (other.counts, other.outcomes)


@pytest.mark.parametrize(
    "extra",
    [one for one in REFUSED if one.__name__ != "night_that_is_nowhere"],
    ids=lambda one: one.__name__,
)
def test_what_no_engine_runs_is_refused_as_a_run_refuses_it(extra: Any) -> None:
    """A black box, a loop, a second clock: the same sentence, under the name of the class.

    Amaranth's simulator would run it as something else, and the device would be blamed.
    """
    subject = subject_of(hardware_with(extra))
    text = REFUSED[extra].replace("slot_bell", "BellHardware")
    for measure in (check, timing_of):
        with pytest.raises(EngineError) as refused:
            measure(subject)
        assert str(refused.value) == text
