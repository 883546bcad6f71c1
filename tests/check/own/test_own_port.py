"""The check of a device at its native port: what is right is let pass, and each mistake is named."""

from __future__ import annotations

from itertools import pairwise
from typing import Any, ClassVar

import pytest

from busbox.bench.bench import Bench
from busbox.bus.ports.apb_rules import ApbChecker
from busbox.bus.ports.apb_rules import Sample as ApbSample
from busbox.bus.ports.axi4_lite_rules import Axi4LiteChecker
from busbox.bus.ports.axi4_lite_rules import Sample as AxiSample
from busbox.bus.ports.hardware import PortedHardware
from busbox.check.port import OwnConformance, Subject, check, check_own, find
from tests.check.own import ported_devices as devices

CYCLES = 1200


def subject_of(device: type[PortedHardware]) -> Subject:
    """Return a device of the tests in a slot of 8 words."""
    slot = {"model": device, "base": 0, "size": 32, "wait": device.least_wait}
    (built,) = Bench({"clock": "16 MHz", "slot": {"device": slot}}).devices()
    return Subject.of_device(built, 16_000_000)


def broken(result: OwnConformance) -> set[str]:
    """Return the ids of the rules that are broken."""
    return {one.rule for one in result.outcomes if one.state == "broken"}


RIGHT = {
    devices.Apb: {"3.4", "answered", "noise", "same-words"},
    devices.ApbErrorByAddress: {"answered", "noise", "same-words"},
    devices.Axi: {
        "A3.1.1", "A3.1.2", "A3.2.1", "A3.3", "A3.3.1", "B1.1.1", "answered", "noise", "same-words",
    },
    devices.Strobed: {"answered", "noise", "same-words"},
    devices.Plainest: {"answered", "noise", "same-words"},
    devices.Classic: {"3.00", "3.35", "3.45", "3.50", "answered", "noise", "same-words"},
    devices.Piped: {"3.00", "3.35", "3.45", "3.57", "answered", "noise", "same-words"},
}  # fmt: skip


@pytest.mark.quick
@pytest.mark.parametrize("device", RIGHT, ids=lambda device: device.__name__)
@pytest.mark.parametrize("seed", [0, 1])
def test_a_right_device_holds_every_rule_of_its_kind(
    device: type[PortedHardware], seed: int
) -> None:
    """What a device can break is exercised and held; COUNT, which moves by itself, is left out."""
    result = check_own(subject_of(device), seed, CYCLES)
    held = {one.rule: one.times for one in result.outcomes if one.state == "held"}
    assert held.keys() == RIGHT[device]
    assert min(held.values()) > 5
    assert result.counts["unanswered"] == 0
    assert result.counts["resets"] > 2


#: A device, the rules that it breaks, and how what is seen of some begins.
WRONG: list[tuple[Any, set[str], dict[str, str]]] = [
    (devices.ApbWithoutSelect, {"noise", "same-words"}, {"noise": "PRDATA is "}),
    (devices.ApbNeedsAPause, {"answered"}, {"answered": "no step of the device for 64 cycles"}),
    (devices.ApbForgetsTheSecond, {"same-words"}, {"same-words": "access "}),
    (devices.ApbSilent, {"answered"}, {}),
    (devices.AxiThrough, {"A3.1.1"}, {"A3.1.1": "RREADY reaches ARREADY"}),
    (devices.AxiAnswersInReset, {"A3.1.2"}, {"A3.1.2": "RVALID is high in reset"}),
    (devices.AxiMovesData, {"A3.2.1"}, {"A3.2.1": "RDATA from "}),
    (devices.AxiGivesUp, {"A3.2.1", "answered"}, {"A3.2.1": "RVALID fell before RREADY"}),
    (
        devices.AxiWaitsForReady,
        {"A3.3"},
        {"A3.3": "RVALID was low for 64 cycles, until RREADY was high"},
    ),
    (
        devices.AxiAnswersAddress,
        {"A3.3.1", "answered"},
        {"A3.3.1": "BVALID without a handshake of AW and W before"},
    ),
    (devices.AxiExclusive, {"B1.1.1"}, {"B1.1.1": "RRESP is EXOKAY"}),
    (devices.AxiLooksLate, {"noise", "same-words"}, {"noise": "R"}),
    (devices.AxiLosesData, {"answered"}, {"answered": "AW, W and B: no step of the device"}),
    (devices.StrobedLate, {"noise", "same-words"}, {"noise": "READ_DATA is "}),
    # One answer too many is taken for that of another request, and everything else follows.
    (
        devices.PipedAnswersTheStalled,
        {"3.45", "3.57", "noise"},
        {"3.57": "ACK asserted for a stalled request"},
    ),
    (
        devices.PipedTwice,
        {"3.35", "3.45", "3.57", "noise", "same-words"},
        {"3.35": "ACK asserted with no accepted request open"},
    ),
    (devices.PipedBoth, {"3.45"}, {"3.45": "ACK and ERR asserted together"}),
    (devices.PipedInReset, {"3.00"}, {"3.00": "ACK asserted in reset"}),
]


@pytest.mark.parametrize(
    ("device", "rules", "seen"), WRONG, ids=lambda one: getattr(one, "__name__", None)
)
def test_each_mistake_breaks_its_rule_and_no_other(
    device: type[PortedHardware], rules: set[str], seen: dict[str, str]
) -> None:
    """Broken are the rules of the mistake, and what was seen first says so."""
    result = check_own(subject_of(device), cycles=CYCLES)
    assert broken(result) == rules
    for one in result.outcomes:
        if one.rule in seen:
            assert one.evidence is not None
            assert one.evidence.seen.startswith(seen[one.rule])
            assert one.breaches > 0


def test_what_is_only_recommended_breaks_nothing() -> None:
    """PSLVERR that follows the address alone is told, with its cycles, and the device still holds."""
    result = check(subject_of(devices.ApbErrorByAddress), cycles=400)
    assert result.own is not None
    (one,) = (one for one in result.own.outcomes if one.rule == "3.4")
    assert (one.state, result.held) == ("not followed", True)
    assert one.evidence is not None
    assert one.evidence.seen in (
        "PSLVERR is high while PSEL is low",
        "PSLVERR is high in the setup phase",
        "PSLVERR is high in a cycle of access without PREADY",
    )


def test_a_breach_at_the_own_port_is_a_breach() -> None:
    """The whole check does not hold, although every rule of the fabric does, through the bridge."""
    result = check(subject_of(devices.AxiWaitsForReady), cycles=400)
    assert not result.held
    assert all(one.state != "broken" for one in result.outcomes)
    cut_off = result.outcomes[-1]
    assert (cut_off.rule, cut_off.state) == ("cut-off", "not exercised")
    assert cut_off.note == "its port has no way to withdraw an access that has begun"


def test_a_standard_wishbone_port_can_withdraw() -> None:
    """Such a device is checked for accesses that are cut off, as any device of the fabric's kind."""
    result = check(subject_of(devices.Classic), cycles=400)
    assert result.held
    (one,) = (one for one in result.outcomes if one.rule == "cut-off")
    assert one.state == "held"


def test_excerpts_show_the_channel_of_the_breach() -> None:
    """Of AXI4-Lite the signals of a read are shown, or those of a write, of two cycles in a row."""
    for device, rule, column in (
        (devices.AxiExclusive, "B1.1.1", "RRESP"),
        (devices.AxiAnswersAddress, "A3.3.1", "BVALID"),
    ):
        result = check_own(subject_of(device), cycles=400)
        (evidence,) = (one.evidence for one in result.outcomes if one.rule == rule)
        assert evidence is not None
        assert evidence.number is not None
        assert column in evidence.head
        before, cycle = evidence.rows()
        assert (before[0], cycle[0]) == (str(evidence.number - 1), str(evidence.number))
        assert cycle[evidence.head.index(column)] == "1"


def test_what_is_proved_has_no_cycle() -> None:
    """A combinational path is named by its ends; no cycle is shown."""
    result = check_own(subject_of(devices.AxiThrough), cycles=100)
    (one,) = (one for one in result.outcomes if one.rule == "A3.1.1")
    assert one.evidence is not None
    assert (one.evidence.place, one.evidence.rows()) == ("In the netlist", [])
    assert (one.times, one.breaches) == (8, 1)


def test_a_seed_gives_the_same_result_twice() -> None:
    """Counts, rules and evidence are equal; another seed plays other traffic."""
    subject = subject_of(devices.AxiGivesUp)
    one, two, other = (check_own(subject, seed, 300) for seed in (3, 3, 4))
    assert (one.counts, one.outcomes) == (two.counts, two.outcomes)
    assert one.outcomes != other.outcomes


def test_a_component_on_its_own_is_found_by_its_signature() -> None:
    """No device of the house: its kind is recognised, and it is checked in both ways."""
    found = find(f"{devices.__file__}:AxiAlone", ("wrong=0",), 0x1000, 16_000_000)
    assert found.own is not None
    assert (found.own.kind.name, found.own.lacks) == ("axi4-lite", frozenset())
    result = check(found, cycles=400)
    assert result.held
    assert result.counts["answered"] > 20
    wrong = find(f"{devices.__file__}:AxiAlone", ("wrong=1",), 0x1000, 16_000_000)
    assert broken(check_own(wrong, cycles=400)) == {"B1.1.1"}


class Recorded(Axi4LiteChecker):
    """A checker that keeps what it was given."""

    samples: ClassVar[list[AxiSample]] = []

    def take(self, sample: AxiSample) -> Any:
        self.samples.append(sample)
        return super().take(sample)


def test_the_traffic_is_what_no_bridge_makes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Address before data and data before address; answers kept waiting; requests before answers."""
    monkeypatch.setattr("busbox.bus.ports.axi4_lite_rules.Axi4LiteChecker", Recorded)
    monkeypatch.setattr(Recorded, "samples", [])
    result = check_own(subject_of(devices.Axi), cycles=1500)
    cycles = Recorded.samples
    assert len(cycles) == result.cycles
    rises = [(two.awvalid > one.awvalid, two.wvalid > one.wvalid) for one, two in pairwise(cycles)]
    assert {(True, False), (False, True), (True, True)} <= set(rises)
    assert {(one.bvalid, one.bready) for one in cycles} == {(0, 0), (0, 1), (1, 0), (1, 1)}
    assert {(one.rvalid, one.rready) for one in cycles} == {(0, 0), (0, 1), (1, 0), (1, 1)}
    assert any(one.rvalid and one.arvalid for one in cycles)
    assert any(one.bvalid and one.rvalid for one in cycles)
    assert any(one.rready and not two.rready and not one.rvalid for one, two in pairwise(cycles))
    assert not broken(result)


def test_apb_transfers_follow_at_once_and_others_are_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Setup follows on a last cycle, PENABLE is high for somebody else, and no rule of ours breaks."""
    cycles: list[ApbSample] = []
    original = ApbChecker.take

    def take(checker: ApbChecker, sample: ApbSample) -> Any:
        cycles.append(sample)
        return original(checker, sample)

    monkeypatch.setattr(ApbChecker, "take", take)
    result = check_own(subject_of(devices.Apb), cycles=600)
    pairs = list(pairwise(cycles))
    assert any(one.last and two.psel and not two.penable for one, two in pairs)
    assert any(one.penable and not one.psel for one in cycles)
    assert any(one.psel and one.penable and not one.pready for one in cycles)
    assert not broken(result)
    checker = ApbChecker("again")
    for sample in cycles:
        original(checker, sample)
    assert not checker.counts
