"""What ``busbox run --stop-on`` waits for: the first finding of a rule, or the first access."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from busbox.basics.distinct import distinct
from busbox.basics.errors import InputError, Mistake, nearest
from busbox.bus.transfers import RESET
from busbox.cpu.steps import Named
from busbox.map.addresses import NAME, address, typed_number
from busbox.recording import Recording, StopPoint
from busbox.system.system import System

#: Yields where a recording meets one of the words, the first place at most.
Finder = Callable[[Recording], Iterator[StopPoint]]


def finders(words: Iterable[str], system: System) -> list[Finder]:
    """Return what looks for each word.

    Raises
    ------
    InputError : with every word that is no rule, address or register
    """
    found: list[Finder] = []
    mistakes: list[Mistake] = []
    for word in words:
        try:
            found.append(_finder(word, system))
        except ValueError as error:
            mistakes.append(Mistake(str(error), "--stop-on"))
    if mistakes:
        raise InputError(mistakes)
    return found


def _finder(word: str, system: System) -> Finder:
    from busbox.findings.rule_set import rule_ids
    from busbox.run.ledger import address_of

    rules = rule_ids(system.rules, system.attached)
    if word in rules:
        return lambda recording: _of_rule(recording, word)
    if word[:1].isdigit():
        typed_number(word)  # refuses digits that can be read in two ways
        number = address(word)
        return lambda recording: _of_address(recording, word, lambda place: place == number)
    name = NAME.fullmatch(word)
    if name is None:
        raise ValueError(
            f"must be a rule, an address or slot.REGISTER, not {word!r}{nearest(word, rules)}"
        )
    address_of(Named(name[1], name[2]), system)
    decode = system.address_map.decode
    return lambda recording: _of_address(
        recording, word, lambda place: decode(place).register == word
    )


def _of_rule(recording: Recording, rule: str) -> Iterator[StopPoint]:
    for finding in recording.findings:
        if finding.rule == rule:
            yield StopPoint(finding.cycle, finding.access, rule, finding.message)
            return


def _of_address(
    recording: Recording, word: str, is_it: Callable[[int], bool]
) -> Iterator[StopPoint]:
    accesses = recording.accesses
    wanted = [place for place in distinct(accesses.address).tolist() if is_it(place)]
    found = np.flatnonzero(np.isin(accesses.address, wanted) & (accesses.terminator != RESET))
    if len(found):
        access = int(found[0])
        what = "write" if accesses.write[access] else "read"
        text = f"{what} of {int(accesses.data[access]):#x} at {accesses.address[access]:#010x}"
        yield StopPoint(int(accesses.end[access]), access, word, text)


def stop_at_first(
    run: Callable[..., Recording], until: str | None, wanted: Sequence[Finder]
) -> Recording:
    """Return the recording up to the first place that is wanted.

    Findings are known after a run only: so it is run once to see, and once more up to there, which
    gives the same cycles.
    """
    recording = run(until=until)
    stops = [stop for find in wanted for stop in find(recording)]
    if not stops:
        return recording
    stop = min(stops, key=lambda stop: stop.cycle)
    if stop.cycle + 1 < recording.cycles:
        recording = run(until=stop.cycle + 1)
    return replace(recording, stopped_on=stop)
