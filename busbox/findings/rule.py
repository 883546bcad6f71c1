"""What a rule works on, what it yields, and how hits become findings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache, partial
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import BusboxError, InputError, raised
from busbox.map.slots import Decoded
from busbox.recording.judged import Finding
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.board.attachment import LineFinding
    from busbox.board.decoding import DecodedLine
    from busbox.firmware.program import Firmware
    from busbox.recording import Accesses, Event, Recording

#: Findings of one rule that are told in full; the rest is counted.
KEPT = 1000


@dataclass(frozen=True)
class Sighting:
    """One place where a rule applies.

    Attributes
    ----------
    cycle, access : where; access -1 if none is to blame
    slot, register : names, "" where there is none
    key : under which it is counted
    tell : returns message and hint; called only for those that are shown
    """

    cycle: int
    access: int
    slot: str
    register: str
    key: str
    tell: Callable[[], tuple[str, str]]


@dataclass(frozen=True)
class RunFacts:
    """What the rules look at.

    Attributes
    ----------
    system : what was run
    recording : what it left; nothing of its findings is looked at
    decoded_lines : what listeners heard, by name
    """

    system: System
    recording: Recording
    decoded_lines: Mapping[str, DecodedLine] = field(default_factory=dict)

    def where(self, test: Callable[[Accesses], Any]) -> Iterator[int]:
        """Yield the accesses for which ``test``, given some of them at a time, gives true."""
        from busbox.recording import where

        return where(self.recording.accesses, test)

    def decoded(self, access: int) -> Decoded:
        """Return what the map says of an access's address."""
        return self.system.address_map.decode(int(self.recording.accesses.address[access]))

    def hit(
        self, access: int, tell: Callable[[], tuple[str, str]], cycle: int | None = None
    ) -> Sighting:
        """Return the hit of an access, counted under its register."""
        found = self.decoded(access)
        end = int(self.recording.accesses.end[access]) if cycle is None else cycle
        slot = found.slot.name if found.slot else ""
        register = found.register.removeprefix(slot)[1:] if slot else ""
        key = f"{slot}.{register}" if slot else f"{found.address:#010x}"
        return Sighting(end, access, slot, register, key, tell)

    def describe(self, access: int) -> str:
        """Return the access in words: ``write 0x1 to levers.OUT (0x40000000)``."""
        accesses = self.recording.accesses
        found = self.decoded(access)
        name = (
            f"{found.register} ({found.address:#010x})" if found.slot else f"{found.address:#010x}"
        )
        if accesses.write[access]:
            return f"write of {int(accesses.data[access]):#x} to {name}"
        return f"read of {name}"

    def undone(self, access: int) -> str:
        """Return what an access came to that nobody carried out: ``the write is lost``."""
        return "the write is lost" if self.recording.accesses.write[access] else "the read gives 0"


def of_kind(
    facts: RunFacts,
    kinds: tuple[str, ...],
    tell: Callable[[Event], tuple[str, str]],
    register: str = "",
) -> Iterator[Sighting]:
    """Yield a hit for each event of these kinds; ``register`` names it where no access does."""
    for event in facts.recording.events:
        if event.kind not in kinds:
            continue
        if event.access >= 0:
            yield facts.hit(event.access, partial(tell, event), event.cycle)
        else:
            key = f"{event.device}.{register}"
            yield Sighting(event.cycle, -1, event.device, register, key, partial(tell, event))


def told(facts: RunFacts, rule: str) -> Iterator[Sighting]:
    """Yield a hit for each trouble of a rule that a listener found."""
    hits = [
        _hit(facts, name, decoded, trouble)
        for name, decoded in facts.decoded_lines.items()
        for trouble in decoded.findings
        if trouble.rule == rule
    ]
    yield from sorted(hits, key=lambda hit: hit.cycle)


def _hit(facts: RunFacts, name: str, decoded: DecodedLine, trouble: LineFinding) -> Sighting:
    edge = trouble.tick if trouble.edge is None else trouble.edge

    def tell() -> tuple[str, str]:
        try:
            message, hint = trouble.tell()
        except BusboxError:
            raise
        except Exception as error:
            text = f"{decoded.attached.kind} raised {raised(error)}"
            raise InputError.of(text, key=f"attach.{name}") from error
        return f"{name}: {message}", hint

    key = f"{name}.{trouble.part}" if trouble.part else name
    slot = facts.system.devices[decoded.attached.device].name
    return Sighting(trouble.tick, decoded.access_at(edge), slot, decoded.attached.pin, key, tell)


Rule = Callable[[RunFacts], Iterator[Sighting]]


def _sources(firmware: str) -> Callable[[int], str]:
    """Return what gives function and source line of an instruction; the file is read when asked."""
    read: list[Firmware] = []

    @cache
    def source(pc: int) -> str:
        from busbox.firmware.program import Firmware

        if not firmware or pc < 0:
            return ""
        if not read:
            read.append(Firmware(firmware))
        found = read[0].source(pc)
        return "" if found is None else str(found)

    return source


def collect(
    rules: Mapping[str, Rule], facts: RunFacts
) -> tuple[tuple[Finding, ...], dict[str, dict[str, int]]]:
    """Return the findings in order of cycle, and the counts by rule and register."""
    findings: list[Finding] = []
    counts: dict[str, dict[str, int]] = {}
    accesses = facts.recording.accesses
    source_of = _sources(facts.system.firmware)
    for rule, function in rules.items():
        kept = 0
        for hit in function(facts):
            of_rule = counts.setdefault(rule, {})
            of_rule[hit.key] = of_rule.get(hit.key, 0) + 1
            if kept == KEPT:
                continue
            kept += 1
            message, hint = hit.tell()
            line, pc = -1, -1
            if hit.access >= 0:
                line, pc = int(accesses.line[hit.access]), int(accesses.pc[hit.access])
            findings.append(
                Finding(
                    rule,
                    hit.cycle,
                    hit.access,
                    hit.slot,
                    hit.register,
                    message,
                    hint,
                    line,
                    pc,
                    source_of(pc),
                )
            )
    findings.sort(key=lambda finding: finding.cycle)
    return tuple(findings), counts
