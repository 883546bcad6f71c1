"""Runs every decoder of a bench on its line, once a run is over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, cast

import numpy as np

from busbox.basics.errors import BusboxError, InputError, format_error
from busbox.basics.units import show_current
from busbox.board.attachment import Decoder, Explanation, LineReport
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
        try:
            return cast(Decoder, self.attached.part).explain(self.wave, tick, sent)
        except BusboxError:
            raise
        except Exception as error:
            text = f"{self.attached.kind} raised {format_error(error)}"
            raise InputError.of(text, key=f"attach.{self.attached.name}") from error

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


def decode_lines(system: System, recording: Recording) -> Mapping[str, DecodedLine]:
    """Return what each decoder made of its line, by name.

    Raises
    ------
    InputError : a setting does not fit the line, or a decoder raised an error
    """
    return {
        one.name: _decoded(one, system, recording)
        for one in system.attached
        if isinstance(one.part, Decoder)
    }


def supply_note(system: System, decoded_lines: Mapping[str, DecodedLine], cycles: int) -> str:
    """Return what all strings of lamps draw, against the supply of the bench; "" without one."""
    if system.supply is None:
        return ""
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


def _decoded(attached: Attached, system: System, recording: Recording) -> DecodedLine:
    pin = f"{system.devices[attached.device].name}.{attached.pin}"
    line = recording.lines[pin]
    wave = Wave.of_line(line, recording.clock_hz, recording.cycles, recording.resets)
    return DecodedLine(attached, pin, line, wave, _report(attached, wave))


def _report(attached: Attached, wave: Wave) -> LineReport:
    key = f"attach.{attached.name}"
    try:
        return report_of(cast(Decoder, attached.part), wave)
    except BusboxError:
        raise
    except ValueError as error:
        raise InputError.of(str(error), key=key) from error
    except Exception as error:
        raise InputError.of(f"{attached.kind} raised {format_error(error)}", key=key) from error
