"""The checkers of APB and AXI4-Lite: traces that break a rule, a naive reading, our own bridges."""

from __future__ import annotations

import random
from dataclasses import fields, replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.bus.ports import apb_rules, axi4_lite_rules
from busbox.bus.ports.apb_rules import ApbChecker
from busbox.bus.ports.axi4_lite_rules import PAYLOADS, Axi4LiteChecker
from busbox.check.port.rig import IDLE, Rig, Traffic
from tests.check.own import ported_devices as devices
from tests.check.own.test_own_port import subject_of

Apb, Axi = apb_rules.Sample, axi4_lite_rules.Sample


def found(checker: Any, samples: list[Any]) -> list[tuple[str, int, str]]:
    """Return rule, cycle and what was seen of every breach of a trace."""
    return [(one.rule, one.cycle, one.seen) for sample in samples for one in checker.take(sample)]


SETUP = Apb(psel=1, paddr=4, pwrite=1, pwdata=7, pstrb=15)
ACCESS = replace(SETUP, penable=1)
REST = Apb(rst=0)

#: Traces of APB with what they break. Source: IHI 0024C, chapters 3 and 4, from memory.
APB: list[tuple[str, list[Apb], list[tuple[str, int, str]]]] = [
    ("a write without a wait", [SETUP, ACCESS, REST], []),
    ("a write with a wait", [SETUP, replace(ACCESS, pready=0), ACCESS], []),
    ("two in a row", [SETUP, ACCESS, SETUP, ACCESS], []),
    ("an error at the end", [SETUP, replace(ACCESS, pslverr=1)], []),
    ("PREADY at any time", [replace(SETUP, pready=1), ACCESS, replace(REST, pready=1)], []),
    ("PENABLE for another", [replace(REST, penable=1), REST, SETUP, ACCESS], []),
    ("a reset cuts off", [SETUP, replace(REST, rst=1), SETUP, ACCESS], []),
    (
        "the address moves",
        [SETUP, replace(ACCESS, paddr=8)],
        [("3.1", 1, "PADDR changed in a transfer")],
    ),
    (
        "the data moves in a wait",
        [SETUP, replace(ACCESS, pready=0), replace(ACCESS, pwdata=8)],
        [("3.1", 2, "PWDATA changed in a transfer")],
    ),
    (
        "strobes in a read",
        [replace(SETUP, pwrite=0)],
        [("3.2", 0, "PSTRB is 0b1111 in a read")],
    ),
    (
        "an error in setup",
        [replace(SETUP, pslverr=1), ACCESS],
        [("3.4", 0, "PSLVERR is high in the setup phase")],
    ),
    (
        "an error in a wait",
        [SETUP, replace(ACCESS, pready=0, pslverr=1), ACCESS],
        [("3.4", 1, "PSLVERR is high in a cycle of access without PREADY")],
    ),
    (
        "an error at rest",
        [replace(REST, pslverr=1)],
        [("3.4", 0, "PSLVERR is high while PSEL is low")],
    ),
    ("no setup", [ACCESS], [("4.1", 0, "PENABLE is high without a setup phase")]),
    ("setup twice", [SETUP, SETUP], [("4.1", 1, "PENABLE is low after the setup phase")]),
    (
        "a transfer given up",
        [SETUP, replace(ACCESS, pready=0), REST],
        [("4.1", 2, "PSEL fell before the end of the transfer")],
    ),
]


@pytest.mark.parametrize(
    ("samples", "breaches"), [case[1:] for case in APB], ids=[case[0] for case in APB]
)
def test_apb_traces(samples: list[Apb], breaches: list[tuple[str, int, str]]) -> None:
    """Each trace breaks what it says, in its cycle, and nothing else."""
    assert found(ApbChecker("port"), samples) == breaches


NONE = Axi()
AW, W = {"awvalid": 1, "awready": 1}, {"wvalid": 1, "wready": 1}
B, AR, R = {"bvalid": 1, "bready": 1}, {"arvalid": 1, "arready": 1}, {"rvalid": 1, "rready": 1}

#: Traces of AXI4-Lite after a cycle at rest. Source: IHI 0022E, chapters A3 and B1, from memory.
AXI: list[tuple[str, list[Axi], list[tuple[str, int, str]]]] = [
    ("a write", [Axi(**AW, **W), Axi(**B)], []),
    ("data first", [Axi(**W), Axi(**AW), Axi(**B)], []),
    ("a read", [Axi(**AR), Axi(**R)], []),
    ("two reads open", [Axi(**AR), Axi(**AR), Axi(**R), Axi(**R)], []),
    ("an answer that waits", [Axi(**AR), Axi(rvalid=1, rdata=5), Axi(**R, rdata=5)], []),
    ("READY that falls", [Axi(arready=1, bready=1), NONE], []),
    ("errors", [Axi(**AR), Axi(**R, rresp=2), Axi(**AR), Axi(**R, rresp=3)], []),
    ("a reset cuts off", [Axi(arvalid=1), Axi(rst=1), NONE, Axi(**AR), Axi(**R)], []),
    (
        "an answer in reset",
        [Axi(**AR), Axi(rst=1, rvalid=1), Axi(rst=1, rvalid=1), NONE],
        [("A3.1.2", 3, "RVALID is high in reset")],
    ),
    (
        "a request in reset",
        [Axi(rst=1), Axi(awvalid=1)],
        [("A3.1.2", 2, "AWVALID is high in reset")],
    ),
    (
        "VALID falls",
        [Axi(**AR), Axi(rvalid=1), NONE],
        [("A3.2.1", 3, "RVALID fell before RREADY")],
    ),
    (
        "data moves",
        [Axi(**AR), Axi(rvalid=1, rdata=5), Axi(**R, rdata=6)],
        [("A3.2.1", 3, "RDATA from 0x5 to 0x6 while RVALID waited")],
    ),
    (
        "an address moves",
        [Axi(awvalid=1, awaddr=4), Axi(awvalid=1, awaddr=8)],
        [("A3.2.1", 2, "AWADDR from 0x4 to 0x8 while AWVALID waited")],
    ),
    (
        "an answer in the cycle of its request",
        [Axi(**AR, **R)],
        [("A3.3.1", 1, "RVALID without a handshake of AR before")],
    ),
    (
        "an answer to an address alone",
        [Axi(**AW), Axi(**B)],
        [("A3.3.1", 2, "BVALID without a handshake of AW and W before")],
    ),
    (
        "an answer too many",
        [Axi(**AW, **W), Axi(**B), Axi(**B)],
        [("A3.3.1", 3, "BVALID without a handshake of AW and W before")],
    ),
    ("EXOKAY", [Axi(**AR), Axi(**R, rresp=1)], [("B1.1.1", 2, "RRESP is EXOKAY")]),
]  # fmt: skip


@pytest.mark.parametrize(
    ("samples", "breaches"), [case[1:] for case in AXI], ids=[case[0] for case in AXI]
)
def test_axi_traces(samples: list[Axi], breaches: list[tuple[str, int, str]]) -> None:
    """Each trace breaks what it says, in its cycle, and nothing else; cycle 0 is at rest."""
    assert found(Axi4LiteChecker("port"), [NONE, *samples]) == breaches


def naive(trace: list[Axi]) -> set[tuple[str, int]]:
    """Return (rule, cycle) of what a trace breaks, read off the whole trace, cycle by cycle."""
    broken = set()
    for at, now in enumerate(trace):
        before = trace[at - 1] if at else Axi(rst=1)
        since = max((k for k in range(at) if trace[k].rst), default=-1) + 1
        past = trace[since:at]
        for channel, payload in PAYLOADS.items():
            valid, ready = f"{channel}valid", f"{channel}ready"
            if before.rst:
                if getattr(now, valid):
                    broken.add(("A3.1.2", at))
                continue
            waited = getattr(before, valid) and not getattr(before, ready) and not now.rst
            moved = any(getattr(now, name) != getattr(before, name) for name in (valid, *payload))
            if waited and moved:
                broken.add(("A3.2.1", at))
            if channel in "br" and getattr(now, valid):
                asked = ("aw", "w") if channel == "b" else ("ar",)
                if getattr(now, f"{channel}resp") == 1:
                    broken.add(("B1.1.1", at))
                if any(left(past, one, channel) < 1 for one in asked):
                    broken.add(("A3.3.1", at))
    return broken


def left(past: list[Axi], asked: str, channel: str) -> int:
    """Return the handshakes of a request channel without an answer; an answer too many takes none."""
    count = 0
    for number, one in enumerate(past):
        # What an answer takes, it takes from the handshakes of earlier cycles.
        in_reset = number == 0
        answered = getattr(one, f"{channel}valid") and getattr(one, f"{channel}ready")
        if answered and not in_reset:
            count = max(count - 1, 0)
        count += getattr(one, f"{asked}valid") & getattr(one, f"{asked}ready")
    return count


def _samples() -> st.SearchStrategy[list[Axi]]:
    level = st.integers(0, 1)
    names = [one.name for one in fields(Axi)]
    values: dict[str, st.SearchStrategy[int]] = dict.fromkeys(names, level)
    values["rst"] = st.sampled_from((0, 0, 0, 0, 0, 0, 1))
    return st.lists(st.builds(Axi, **values), max_size=12)


@given(_samples())
def test_the_checker_agrees_with_a_naive_reading(trace: list[Axi]) -> None:
    """Any trace breaks the same rules in the same cycles for both."""
    checker = Axi4LiteChecker("port")
    breaches = {(one.rule, one.cycle) for sample in trace for one in checker.take(sample)}
    assert breaches == naive(trace)


def test_a_breach_is_told_with_port_rule_and_signals() -> None:
    """The text names the port, what was seen, the rule with its source, and the cycle."""
    (breach,) = ApbChecker("dimmer").take(replace(REST, pslverr=1))
    assert breach.text.startswith(
        "dimmer: PSLVERR is high while PSEL is low; PSLVERR is low in every cycle but the last one of "
        "a transfer; recommended, not required (IHI 0024C, section 3.4; number from memory). Cycle 0: "
    )


@pytest.mark.parametrize(
    ("device", "checker", "sample"),
    [(devices.Apb, ApbChecker, Apb), (devices.Axi, Axi4LiteChecker, Axi)],
)
def test_our_bridges_keep_the_rules_of_the_bus(device: Any, checker: Any, sample: Any) -> None:
    """Behind the bridge no rule is broken, whatever the fabric does: resets, accesses given up."""
    subject = subject_of(device)
    rig, dice = Rig(subject), random.Random(device.__name__)
    traffic, watch = Traffic(dice, subject, rig.words), checker("port")
    port = rig._components[0].port
    ended = 0
    while rig.cycle < 1500:
        access, length = traffic.access(), dice.choice((2, 4, 20))
        drives = [access] * traffic.lead() + [access.raised(1, 1)] * length
        for drive in drives:
            resets = not dice.randrange(60)
            rig.reset(int(resets))
            rig.drive(IDLE if resets else drive)
            levels = {name: int(rig._context.get(signal)) for name, signal in port.items()}
            watch.take(sample(rst=int(resets), **levels))
            seen = rig.seen()
            rig.tick()
            if resets or seen.ack or seen.err:
                ended += not resets
                break
        rig.reset(0)
        rig.drive(IDLE)
    assert ended > 50
    assert watch.counts == {}
