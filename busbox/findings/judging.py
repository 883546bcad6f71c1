"""Judges a recording: decodes its lines, collects findings and decides on expectations."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from busbox.basics.errors import Mistake
from busbox.basics.failures import Failures
from busbox.basics.hook_limit import limited_hooks
from busbox.basics.hooks import HookError
from busbox.board.decoding import decode_lines, not_decoded, supply_note
from busbox.findings import find
from busbox.findings.certain import certainty
from busbox.findings.core_places import core_end
from busbox.findings.lamp_numbers import lamp_notes
from busbox.findings.rule import RunFacts
from busbox.recording import Recording
from busbox.recording.judged import Verdict
from busbox.system.scenario import FINDINGS, Condition
from busbox.system.system import System


class PartlyJudged(HookError):
    """Code that does not come with Busbox failed once a run was over.

    Attributes
    ----------
    recording : judged without what failed; its ``failures`` name that
    """

    def __init__(self, mistakes: Iterable[Mistake], recording: Recording) -> None:
        super().__init__(mistakes)
        self.recording = recording


def judge(recording: Recording, system: System) -> Recording:
    """Return a recording with all that follows from its facts, replacing what it held of that before.

    This fills in what attachments decoded from their lines (``seen``, ``supply_note``, ``lamp_notes``),
    how a program has ended (``core_end``), until when the run is ``certain``,
    ``findings``, ``counts``, and ``verdicts`` on the expectations. Nothing else changes, so judging
    twice gives the same recording.

    Parameters
    ----------
    system : the system that was run

    Raises
    ------
    PartlyJudged : a setting of an attachment does not fit its line, or a rule or an attachment raised
        an error; it holds what was judged without it
    """
    with limited_hooks() as ended:
        failures = Failures(ended)
        judged = _judged(recording, system, failures)
    if failures.mistakes:
        raise PartlyJudged(failures.mistakes, judged)
    return judged


def as_far_as_judged(judging: Callable[[], Recording]) -> Recording:
    """Return what was judged, whether or not something failed at it: ``failures`` names that.

    Raises
    ------
    InputError : there is nothing to be judged
    """
    try:
        return judging()
    except PartlyJudged as error:
        return error.recording


def _judged(recording: Recording, system: System, failures: Failures) -> Recording:
    decoded_lines = decode_lines(system, recording, failures)
    decoded = replace(
        recording,
        seen={name: one.recorded() for name, one in decoded_lines.items()},
        supply_note=supply_note(system, decoded_lines, recording.cycles),
        core_end="",
        lamp_notes=(),
        certain=None,
        findings=(),
        counts={},
        verdicts=(),
        failures=(),
    )
    facts = RunFacts(system, decoded, decoded_lines)
    findings, counts = find(facts, failures)
    certain = certainty(facts)
    judged = replace(
        decoded,
        findings=tuple(
            one if certain.covers(one.cycle) else replace(one, doubtful=True) for one in findings
        ),
        certain=certain,
        counts=counts,
        core_end=core_end(facts),
        lamp_notes=lamp_notes(facts),
        failures=tuple(str(one) for one in failures.mistakes),
    )
    lost = {name: f"{name} could not be decoded" for name in not_decoded(system, decoded_lines)}
    if judged.failures:
        lost[FINDINGS] = "not everything could be judged"
    return replace(
        judged, verdicts=tuple(_verdict(one, judged, lost) for one in system.expectations)
    )


def _verdict(expected: Condition, judged: Recording, lost: Mapping[str, str]) -> Verdict:
    """Return the verdict on an expectation: what needs something that is lost is not met."""
    if expected.needs in lost:
        return Verdict(expected.what, False, f"not known: {lost[expected.needs]}")
    verdict: Verdict = expected.judge(judged)
    return verdict
