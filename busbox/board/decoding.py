"""Has every listener of a bench look at its line, once a run is over."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from busbox.basics.errors import BusboxError, InputError, raised, shown
from busbox.basics.units import show_current
from busbox.board.attachment import Decoder, LineFinding, LineReport
from busbox.lines.wave import Wave

if TYPE_CHECKING:
    from busbox.recording import Line, Recording, Seen
    from busbox.system.scenario import Attached
    from busbox.system.system import System


@dataclass(frozen=True)
class DecodedLine:
    """What one listener heard.

    Attributes
    ----------
    attached : the listener in its place
    pin : such as ``lamps.line``
    line : the history of its pin
    heard : what it understood
    troubles : what it finds wrong, in order of tick
    """

    attached: Attached
    pin: str
    line: Line
    heard: LineReport
    troubles: tuple[LineFinding, ...]

    def access_at(self, cycle: int) -> int:
        """Return the access that caused the last edge up to a cycle, -1 if none did."""
        place = int(np.searchsorted(self.line.cycles, cycle, side="right")) - 1
        return int(self.line.accesses[place]) if place >= 0 else -1

    def seen(self) -> Seen:
        """Return what was understood, each part with the access that caused it."""
        from busbox.recording import Character, Frame, Seen

        heard, frames = self.report, None
        if heard.frames is not None:
            frames = tuple(Frame(tick, self.access_at(tick), one) for tick, _, one in heard.frames)
        return Seen(
            self.attached.kind,
            self.pin,
            tuple(heard.rows),
            heard.facts,
            heard.text,
            tuple(Character(tick, self.access_at(tick), one) for tick, one in heard.characters),
            frames,
        )


def hear(system: System, recording: Recording) -> Mapping[str, DecodedLine]:
    """Return what each listener understood, by name.

    Raises
    ------
    InputError : a setting does not fit the line, or a listener raised an error
    """
    return {
        one.name: _hearing(one, system, recording)
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


def _checked(heard: Any) -> LineReport:
    """Return what a listener gave, its facts as they come back from a file.

    Raises
    ------
    ValueError : it is not what the contract says
    """
    if not isinstance(heard, LineReport):
        raise ValueError(f"listen must return a LineReport, not {shown(heard)}")
    for row in heard.rows:
        if not (isinstance(row, tuple) and len(row) == 2 and all(type(one) is str for one in row)):
            raise ValueError(f"rows must be pairs of texts, not {shown(row)}")
    try:
        facts = json.loads(json.dumps(dict(heard.facts)))
    except (TypeError, ValueError) as error:
        raise ValueError(f"facts must be as JSON holds them: {raised(error)}") from error
    return replace(heard, facts=facts)


def _hearing(attached: Attached, system: System, recording: Recording) -> DecodedLine:
    from busbox.findings import RULES

    pin = f"{system.devices[attached.device].name}.{attached.pin}"
    line = recording.lines[pin]
    wave = Wave.of_line(line, recording.clock_hz, recording.cycles)
    key = f"attach.{attached.name}"
    try:
        heard = _checked(cast(Decoder, attached.part).decode(wave))
        troubles = tuple(sorted(heard.findings, key=lambda trouble: trouble.tick))
    except BusboxError:
        raise
    except ValueError as error:
        raise InputError.of(str(error), key=key) from error
    except Exception as error:
        raise InputError.of(f"{attached.kind} raised {raised(error)}", key=key) from error
    for trouble in troubles:
        if trouble.rule not in RULES:
            raise InputError.of(
                f"{attached.kind} must name a rule that there is, not {trouble.rule!r}", key=key
            )
    return DecodedLine(attached, pin, line, heard, troubles)
