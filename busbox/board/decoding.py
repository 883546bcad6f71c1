"""Runs every decoder of a bench on its line, once a run is over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from busbox.basics.errors import join_and
from busbox.basics.failures import Failures
from busbox.basics.hooks import HookError, calling, is_added, refuse, wanted, where_raised
from busbox.basics.units import show_current
from busbox.board.attachment import Advice, Decoder, Explanation, LineReport
from busbox.board.reports import report_of
from busbox.lines.wave import Wave

if TYPE_CHECKING:
    from busbox.recording import Line, LineReading, Recording
    from busbox.system.scenario import Attached
    from busbox.system.system import System

#: Seconds by which a line is extended beyond its run: longer than any latch gap or character.
REST = 10


@dataclass(frozen=True)
class DecodedLine:
    """One line as its decoder understood it.

    Attributes
    ----------
    attached : the decoder in its place
    pin : such as ``lamps.line``
    line : the history of its pin
    wave : its edges, as the decoder got them
    report : what it understood, its findings in order of tick
    """

    attached: Attached
    pin: str
    line: Line
    wave: Wave
    report: LineReport

    @cached_property
    def resting(self) -> DecodedLine:
        """The same line, if its level does not change for :data:`REST` after the run."""
        wave = replace(self.wave, end=self.wave.end + int(REST / self.wave.tick))
        return replace(self, wave=wave, report=_report(self.attached, wave))

    def explain(self, tick: int, sent: object) -> Explanation | None:
        """Return the decoder's explanation of why what begins in a tick differs from what was sent.

        Raises
        ------
        InputError : the decoder raised an error
        """
        hook, key = cast(Decoder, self.attached.part).explain, f"attach.{self.attached.name}"
        with calling(self.attached.kind, key=key, hook=hook):
            found: Any = hook(self.wave, tick, sent)
        if found is not None and not _is_explanation(found):
            refuse(wanted("explain", "an Explanation or None", found), hook, key)
        return cast("Explanation | None", found)

    def access_at(self, cycle: int) -> int:
        """Return the access that caused the last edge up to a cycle, -1 if none did."""
        place = int(np.searchsorted(self.line.cycles, cycle, side="right")) - 1
        return int(self.line.accesses[place]) if place >= 0 else -1

    def recorded(self) -> LineReading:
        """Return what was decoded, each part with the access that caused it."""
        from busbox.recording import Character, Frame, LineReading

        report, frames = self.report, None
        if report.frames is not None:
            frames = tuple(Frame(tick, self.access_at(tick), one) for tick, _, one in report.frames)
        return LineReading(
            self.attached.kind,
            self.pin,
            tuple(report.rows),
            report.facts,
            report.text,
            tuple(Character(tick, self.access_at(tick), one) for tick, one in report.characters),
            frames,
        )


def decode_lines(
    system: System, recording: Recording, failures: Failures
) -> Mapping[str, DecodedLine]:
    """Return what each decoder made of its line, by name.

    Parameters
    ----------
    failures : takes what a decoder raises, and settings that do not fit its line: it is left out
    """
    found: dict[str, DecodedLine] = {}
    for one in _decoders(system):
        failures.attempt(partial(_decode, found, one, system, recording))
    return found


def not_decoded(system: System, decoded_lines: Mapping[str, DecodedLine]) -> list[str]:
    """Return the names of the decoders that failed."""
    return [one.name for one in _decoders(system) if one.name not in decoded_lines]


def _decoders(system: System) -> list[Attached]:
    return [one for one in system.attached if isinstance(one.part, Decoder)]


def supply_note(system: System, decoded_lines: Mapping[str, DecodedLine], cycles: int) -> str:
    """Return what all strings of lamps draw, against the supply of the bench; "" without one."""
    if system.supply is None:
        return ""
    lost = not_decoded(system, decoded_lines)
    if lost:
        return f"What all lamps together draw is not known: {join_and(lost)} could not be decoded."
    changes = total_current(decoded_lines)
    peak = max((amperes for _, amperes, _ in changes), default=Fraction(0))
    ends = [tick for tick, _, _ in changes[1:]] + [cycles]
    charge = sum(
        (amperes * (end - tick) for (tick, amperes, _), end in zip(changes, ends, strict=False)),
        Fraction(0),
    )
    return (
        f"All lamps together draw {show_current(peak)} at the peak and "
        f"{show_current(charge / cycles)} on average; the supply gives {show_current(system.supply)}."
    )


def total_current(decoded_lines: Mapping[str, DecodedLine]) -> list[tuple[int, Fraction, str]]:
    """Return (cycle, amperes that all strings draw from then on, name of the last that changed)."""
    changes = sorted(
        (tick, name, amperes)
        for name, decoded in decoded_lines.items()
        for tick, amperes in decoded.report.current or ()
    )
    now: dict[str, Fraction] = {}
    found: list[tuple[int, Fraction, str]] = []
    for tick, name, amperes in changes:
        now[name] = amperes
        if found and found[-1][0] == tick:
            found.pop()
        found.append((tick, sum(now.values(), Fraction(0)), name))
    return found


def _decode(
    found: dict[str, DecodedLine], attached: Attached, system: System, recording: Recording
) -> None:
    """Add what one decoder made of its line.

    Raises
    ------
    HookError : a setting does not fit the line, or the decoder raised an error
    """
    pin = f"{system.devices[attached.device].name}.{attached.pin}"
    line = recording.lines[pin]
    wave = Wave.of_line(line, recording.clock_hz, recording.cycles, recording.resets)
    found[attached.name] = DecodedLine(attached, pin, line, wave, _report(attached, wave))


def _report(attached: Attached, wave: Wave) -> LineReport:
    key = f"attach.{attached.name}"
    decoder = cast(Decoder, attached.part)
    try:
        with calling(attached.kind, key=key, hook=decoder.decode, refusing=True):
            return report_of(decoder, wave)
    except ValueError as error:
        place = where_raised(error, decoder.decode) if is_added(decoder) else ""
        raise HookError.of(f"{error}{place}", key=key) from error


def _is_explanation(found: Any) -> bool:
    """Return whether a decoder's explanation is one, with texts and advice as its contract says."""
    return (
        isinstance(found, Explanation)
        and isinstance(found.text, str)
        and isinstance(found.hint, str)
        and isinstance(found.advice, Advice)
    )
