"""``busbox check``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from busbox.basics.errors import InputError
from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.basics.units import parse_clock
from busbox.cli import completing
from busbox.cli.common import json_option, number_of, paper, print_json
from busbox.plugins import DEVICES

if TYPE_CHECKING:
    from busbox.check.port import Conformance, Outcome, OwnConformance


@click.command("check")
@click.argument("name", shell_complete=completing.named(DEVICES))
@click.option(
    "--set", "values", metavar="KEY=VALUE", multiple=True, help="A setting. May be repeated."
)
@json_option
@click.option("--size", metavar="N", default="0x1000", help="Bytes of the slot (default 0x1000).")
@click.option("--clock", metavar="CLOCK", default="16 MHz", help="The clock (default 16 MHz).")
@click.option("--seed", metavar="N", default="0", help="Seed of the random accesses (default 0).")
@click.option("--cycles", metavar="N", default="2000", help="Cycles to run (default 2000).")
def command(
    name: str,
    values: tuple[str, ...],
    as_json: bool,
    size: str,
    clock: str,
    seed: str,
    cycles: str,
) -> int:
    """Check an Amaranth component against the rules of the bus, and measure its timing.

    NAME is FILE.py:CLASS, FILE.v:MODULE, or a model's name, whose twin is checked. CLASS is a hardware
    device or another Amaranth component with a member bus or port; it is driven alone, by random
    accesses, with resets and accesses that are cut off. One whose port is of another kind is driven
    through its bridge and at its native port. The exit code is 1 if a rule is broken.
    """
    from busbox.check.port import check, find

    subject = find(name, values, number_of(size, "--size"), _clock(clock))
    result = check(subject, number_of(seed, "--seed"), number_of(cycles, "--cycles", least=1))
    if as_json:
        print_json(_object(result))
    else:
        page = paper()
        _write(result, page)
        page.print()
    return 0 if result.held else 1


def _clock(text: str) -> int:
    try:
        return parse_clock(text)
    except ValueError as error:
        raise InputError.of(str(error).removeprefix("a clock "), "--clock") from None


def _write(result: Conformance, page: Paper) -> None:
    counts, kind = result.counts, result.subject.kind
    page.line((result.subject.name, "bold"), f": {kind}, seed {result.seed}")
    accesses = counted(counts["accesses"], "access", "accesses")
    page.line(
        f"  {counted(result.cycles, 'cycle')} with {accesses}: "
        f"{counts['answered']:,} "
        f"answered, {counts['given_up']:,} abandoned, {counts['reset']:,} interrupted by a reset, "
        f"{counts['unanswered']:,} unanswered",
        hang=2,
    )
    own = result.own
    page.title("Rules" if own is None else "Rules of the fabric, through the bridge")
    page.table((one.rule, one.state, _note(one)) for one in result.outcomes)
    if own is not None:
        page.title(f"Rules of its native port: {own.port}")
        accesses = counted(own.counts["accesses"], "access", "accesses")
        page.line(
            f"  {counted(own.cycles, 'cycle')} with {accesses}: {own.counts['answered']:,} answered, "
            f"{own.counts['reset']:,} interrupted by a reset, "
            f"{own.counts['unanswered']:,} unanswered",
            hang=2,
        )
        page.table((one.rule, one.state, _note(one)) for one in own.outcomes)
    page.title("Timing (e is the cycle of the answer)")
    page.line(f"  {result.timing.write_text}", hang=2)
    page.line(f"  {result.timing.read_text}", hang=2)
    for one in (*result.outcomes, *(own.outcomes if own is not None else ())):
        _write_breach(one, page)


def _note(one: Outcome) -> str:
    if one.evidence is not None:
        times = f"{counted(one.breaches, 'time')}, "
        if one.evidence.number is None:
            return f"{times}in the {one.evidence.part}: see below"
        return f"{times}first in cycle {one.evidence.number:,}: see below"
    return f"{one.times:,} {one.note}" if one.state == "held" else one.note


def _write_breach(one: Outcome, page: Paper) -> None:
    evidence = one.evidence
    if evidence is None:
        return
    page.title(f"{one.rule} is {one.state}")
    page.line(f"  Rule: {one.text}.", hang=2)
    page.line(f"  {evidence.place}: {evidence.seen}.", hang=2)
    page.table(evidence.rows(), head=evidence.head, numbers=range(len(evidence.head)))


def _object(result: Conformance) -> dict[str, Any]:
    timing = result.timing
    return {
        "name": result.subject.name,
        "class": result.subject.kind,
        "seed": result.seed,
        "cycles": result.cycles,
        "held": result.held,
        "counts": dict(result.counts),
        "rules": [_rule_object(one) for one in result.outcomes],
        "timing": {
            "commit": timing.commit,
            "sample": timing.sample,
            "house": timing.house,
            "text": timing.text,
        },
        "own_port": None if result.own is None else _own_object(result.own),
    }


def _own_object(own: OwnConformance) -> dict[str, Any]:
    return {
        "kind": own.port.kind.name,
        "lacks": sorted(own.port.lacks),
        "cycles": own.cycles,
        "counts": dict(own.counts),
        "rules": [_rule_object(one) for one in own.outcomes],
    }


def _rule_object(one: Outcome) -> dict[str, Any]:
    evidence = one.evidence
    return {
        "rule": one.rule,
        "text": one.text,
        "state": one.state,
        "times": one.times,
        "note": one.note,
        "breaches": one.breaches,
        "first": None
        if evidence is None
        else {
            "part": evidence.part,
            "cycle": evidence.number,
            "seen": evidence.seen,
            "signals": evidence.lines(),
        },
    }
