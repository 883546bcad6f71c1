"""Judges a recording: decodes its lines, collects findings and decides on expectations."""

from __future__ import annotations

from dataclasses import replace

from busbox.basics.hook_limit import limited_hooks
from busbox.board.decoding import decode_lines, supply_note
from busbox.findings import find
from busbox.findings.certain import certainty
from busbox.findings.core_places import core_end
from busbox.findings.lamp_numbers import lamp_notes
from busbox.findings.rule import RunFacts
from busbox.recording import Recording
from busbox.system.system import System


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
    InputError : a setting of an attachment does not fit its line, or an attachment raised an error
    """
    with limited_hooks():
        return _judged(recording, system)


def _judged(recording: Recording, system: System) -> Recording:
    decoded_lines = decode_lines(system, recording)
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
    )
    facts = RunFacts(system, decoded, decoded_lines)
    findings, counts = find(facts)
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
    )
    return replace(judged, verdicts=tuple(one.judge(judged) for one in system.expectations))
