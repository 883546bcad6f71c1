"""Why something happened: traced from the wire back to the line of firmware."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.basics.errors import InputError, join_or, nearest
from busbox.basics.units import parse_span, show_time
from busbox.bus.transfers import TERMINATORS
from busbox.device import RELEASED
from busbox.explain.callers import Caller, Callers
from busbox.explain.past import RecordedPast
from busbox.recording.judged import Finding

if TYPE_CHECKING:
    from busbox.firmware.program import Firmware
    from busbox.recording import Event, Recording
    from busbox.system.system import System

#: The forms in which a question can be put.
FORMS = ("PIN@TIME", "event.N", "finding.N", "access.N")

ALL_LANES = 0b1111

#: How an access ended, as text.
_ENDS = {
    "ack": "ended with ACK",
    "error": "ended with ERR",
    "watchdog": "ended with ERR by the watchdog",
    "reset": "was cut off by a reset",
    "none": "was not answered by the end of the run,",
}

_NUMBERED = re.compile(r"(event|finding|access)\.([0-9]{1,18})")


@dataclass(frozen=True)
class Part:
    """One step of a story.

    Attributes
    ----------
    label : what it is, such as ``caused by``
    text : what happened
    access : number of the access concerned, -1 if there is none
    place : origin of that access: line of the traffic, pc, function, source line; "" if not known
    facts : ``line``, ``pc``, ``function``, ``file``, ``source_line`` where they are known
    """

    label: str
    text: str
    access: int = -1
    place: str = ""
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Story:
    """What happened, in which cycle, and why."""

    title: str
    cycle: int
    parts: tuple[Part, ...]


class Stories:
    """Answers why something happened in one run."""

    def __init__(self, system: System, recording: Recording) -> None:
        self.system, self.recording = system, recording
        self._firmware: Firmware | None = None
        if system.firmware:
            from busbox.firmware.program import Firmware

            self._firmware = Firmware(system.firmware)

    def tell(self, asked: str) -> Story:
        """Return the story of a pin's edge, an event, a finding or an access.

        Parameters
        ----------
        asked : one of :data:`FORMS`

        Raises
        ------
        InputError : the run has no such pin, event, finding or access
        """
        pin, at, time = asked.rpartition("@")
        numbered = _NUMBERED.fullmatch(asked)
        if at:
            if pin not in self.recording.lines:
                close = nearest(pin, list(self.recording.lines))
                raise _unknown(f"there is no pin {pin!r}{close}")
            return self._edge(pin, self._cycle(time))
        if asked in self.recording.lines:
            raise _unknown(f"a pin needs a time: {asked}@2ms, for example")
        if numbered is None:
            raise _unknown(f"must be {join_or(FORMS)}, not {asked!r}")
        kind, number = numbered[1], int(numbered[2])
        recording = self.recording
        things: Any = recording.events if kind == "event" else recording.accesses
        if kind == "finding":
            things = recording.findings
        if number >= len(things):
            raise _unknown(f"there is no {kind} {number}: the run has {_known(kind, len(things))}")
        if kind == "event":
            return self._event(number, things[number])
        return self._finding(things[number]) if kind == "finding" else self._access(number)

    def _cycle(self, text: str) -> int:
        try:
            cycle = parse_span(text).in_cycles(self.recording.clock_hz)
        except ValueError as error:
            raise _unknown(str(error)) from None
        if cycle >= self.recording.cycles:
            raise _unknown(
                f"the time must be before the end of the run, cycle {self.recording.cycles:,}, not "
                f"in cycle {cycle:,}"
            )
        return cycle

    def _when(self, cycle: int) -> str:
        return f"cycle {cycle:,} ({show_time(cycle, self.recording.clock_hz)})"

    # Stories.

    def _edge(self, pin: str, last: int) -> Story:
        """Return the story of the last edge of a pin up to the cycle ``last``."""
        line = self.recording.lines[pin]
        place = int(np.searchsorted(line.cycles, last, side="right")) - 1
        cycle, access = int(line.cycles[place]), int(line.accesses[place])
        if place == 0:
            what = f"has been at its initial level, {_level(int(line.levels[0]))}, since the start"
        elif line.levels[place] == RELEASED:
            what = "is released"
        else:
            what = "rises" if line.levels[place] else "falls"
        parts = [*self._points(pin, cycle), *self._device(pin, cycle, access)]
        return Story(f"{pin} {what} in {self._when(cycle)}", cycle, tuple(parts))

    def _event(self, number: int, event: Event) -> Story:
        title = f"{event.device}: {event.kind} in {self._when(event.cycle)}"
        parts = [] if event.access < 0 else [*self._cause("caused by", event.access)]
        return Story(title, event.cycle, tuple(parts or [_nobody()]))

    def _finding(self, finding: Finding) -> Story:
        parts = [Part("found", finding.message), Part("try", finding.hint)]
        pin = f"{finding.slot}.{finding.register}"
        if pin in self.recording.lines:
            line = self.recording.lines[pin]
            place = int(np.searchsorted(line.cycles, finding.cycle, side="right")) - 1
            mine = np.flatnonzero(
                (line.accesses == finding.access) & (line.cycles <= finding.cycle)
            )
            if len(mine) and line.accesses[place] != finding.access:
                place = int(mine[-1])
            cycle = int(line.cycles[place])
            parts += self._points(pin, cycle)
            parts += self._device(pin, cycle, finding.access)
        elif finding.access >= 0:
            parts += self._cause("caused by", finding.access)
        elif finding.rule == "core-trap":
            parts += self._called(self._callers.at_end() if self._callers else ())
        title = f"{finding.rule} in {self._when(finding.cycle)}"
        return Story(title, finding.cycle, tuple(parts))

    def _access(self, number: int) -> Story:
        end = int(self.recording.accesses.end[number])
        effects = [
            Part("then", f"{event.device}: {event.kind} in {self._when(event.cycle)}")
            for event in self.recording.events
            if event.access == number
        ]
        for pin, line in self.recording.lines.items():
            mine = line.cycles[line.accesses == number].tolist()
            if mine:
                count = "1 edge" if len(mine) == 1 else f"{len(mine):,} edges"
                text = f"{pin}: {count}, the first in {self._when(mine[0])}"
                effects.append(Part("then", text))
        how = _ENDS[TERMINATORS[self.recording.accesses.terminator[number]]]
        return Story(
            f"access {number} {how} in {self._when(end)}",
            end,
            (*self._cause("access", number), *effects),
        )

    # Parts.

    def _points(self, pin: str, cycle: int) -> Iterator[Part]:
        """Yield what each decoder attached to a pin sees in a cycle."""
        from busbox.board.attachment import Decoder
        from busbox.lines.wave import Wave

        names = [device.name for device in self.system.devices]
        for one in self.system.attached:
            if f"{names[one.device]}.{one.pin}" == pin and isinstance(one.part, Decoder):
                recording = self.recording
                wave = Wave.of_line(recording.lines[pin], recording.clock_hz, recording.cycles)
                text = one.part.describe(wave, cycle)
                if text:
                    yield Part("wire", f"{one.name}: {text}")

    def _device(self, pin: str, cycle: int, access: int) -> Iterator[Part]:
        """Yield why a device drove a pin to its level: event, access, registers that mattered."""
        slot, _, name = pin.partition(".")
        number = [device.name for device in self.system.devices].index(slot)
        device = self.system.devices[number]
        if self.recording.lines[pin].direction == "input":
            yield Part("driven by", "the board: an input, a wire, a reply or a driver of the bench")
            return
        for event in reversed(self.recording.events):
            if event.device == slot and event.access == access >= 0 and event.cycle <= cycle:
                yield Part("device", f"{slot}: {event.kind} in {self._when(event.cycle)}")
                break
        if access < 0 and cycle == 0:
            yield Part("caused by", "the start of the run: the pin has not changed yet")
            return
        reset = [first for first, _ in self.recording.resets if first + 1 == cycle]
        if access < 0 and reset:
            yield Part("caused by", f"the reset that began in {self._when(reset[0])}")
            return
        yield from [_nobody()] if access < 0 else self._cause("caused by", access)
        yield from self._between(pin, cycle, access)
        past = RecordedPast(self.system, self.recording, number)
        for reason in device.model.because(device.settings, name, cycle, access, past):
            if reason.access < 0:
                word = f"{slot}.{reason.register} had its reset value"
                yield Part("set by", f"{reason.what}: {word}")
            elif reason.access == access:
                yield Part("set by", reason.what)
            else:
                yield self._part("set by", reason.access, f"{reason.what}: ")

    def _between(self, pin: str, cycle: int, access: int) -> Iterator[Part]:
        """Yield what the CPU did between the previous edge and this one, if each has its own access.

        A device may have kept ``access`` waiting: what ended before that edge does not count.
        """
        line = self.recording.lines[pin]
        place = int(np.searchsorted(line.cycles, cycle, side="right")) - 2
        before = int(line.accesses[place]) if place >= 0 else -1
        if before < 0 or access <= before:
            return
        ends = self.recording.accesses.end
        first = max(before + 1, int(np.searchsorted(ends, line.cycles[place])))
        number = access - first
        if number > 0:
            cycles = f"{cycle - int(line.cycles[place]):,} cycles after the previous edge"
            count = "1 access" if number == 1 else f"{number:,} accesses, the last"
            yield self._part("in between", access - 1, f"{cycles}: {count}: ")

    def _cause(self, label: str, access: int) -> Iterator[Part]:
        """Yield an access, and who called what made it."""
        yield self._part(label, access)
        if self._callers is not None:
            yield from self._called(self._callers.of_access(access))

    def _called(self, callers: Iterable[Caller]) -> Iterator[Part]:
        """Yield the frames of a stack, the innermost first."""
        for caller in callers:
            facts: dict[str, Any] = {"pc": caller.pc, "how": caller.how}
            source = ", ".join(self._source(caller.at, facts)) or "code without debug information"
            text = _frame(caller, source)
            yield Part("called by", text, -1, "", facts)

    @cached_property
    def _callers(self) -> Callers | None:
        """What finds callers, if a core executed a program whose debug information is known."""
        if self.system.core is None or self._firmware is None:
            return None
        return Callers(self.system, self.recording, self._firmware.frames)

    def _part(self, label: str, access: int, before: str = "") -> Part:
        """Return an access as text, with its origin."""
        accesses = self.recording.accesses
        found = self.system.address_map.decode(int(accesses.address[access]))
        data = int(accesses.data[access])
        name = found.register if found.slot else "no slot"
        lanes = int(accesses.lanes[access])
        some = "" if lanes == ALL_LANES else f", lanes {lanes:04b},"
        verb, way = ("write", "to") if accesses.write[access] else ("read", "from")
        what = f"{verb} of {data:#x}{some} {way}"
        text = (
            f"{before}access {access}, {what} {name} ({found.address:#010x}), "
            f"{self._when(int(accesses.end[access]))}"
        )
        line, pc = int(accesses.line[access]), int(accesses.pc[access])
        words, facts = [], {}
        place = self.recording.place_of(access)
        if line >= 0:
            words.append(place)
            facts["line"] = line
        if accesses.file[access] >= 0:
            facts["line_file"] = self.recording.files[accesses.file[access]]
        if pc >= 0:
            words.append(f"pc {pc:#x}")
            facts["pc"] = pc
            source = list(self._source(pc, facts))
            if facts.get("file") and place.endswith(f"{facts['file']}:{facts['source_line']}"):
                words.remove(place)  # the line of the step is that of the instruction
            words += source
        return Part(label, text, access, ", ".join(words), facts)

    def _source(self, pc: int, facts: dict[str, Any]) -> Iterator[str]:
        """Yield function and source line of an instruction."""
        source = self._firmware.source(pc) if self._firmware else None
        if self._firmware is None or source is None:
            return
        text = self._firmware.text(source)
        facts |= {
            "function": source.function,
            "inlined": list(source.inlined),
            "file": source.file,
            "source_line": source.line,
            "source": text,
        }
        yield f"{source}{f': {text}' if text else ''}"


def _known(kind: str, count: int) -> str:
    """Return which numbers of a kind exist, as text."""
    if count < 2:
        return f"{kind} 0 only" if count else "none"
    return f"{kind}{'es' if kind == 'access' else 's'} 0 to {count - 1}"


def _frame(caller: Caller, source: str) -> str:
    """Return a frame of a stack as text."""
    if caller.how == "call":
        return f"{source} (returns to {caller.pc:#x})"
    return (
        f"{'an' if caller.how == 'interrupt' else 'a'} {caller.how} in {source} (pc {caller.pc:#x})"
    )


def _nobody() -> Part:
    return Part("caused by", "no access: the device acted on its own or on an input")


def _level(level: int) -> str:
    return "released" if level == RELEASED else str(level)


def _unknown(text: str) -> InputError:
    return InputError.of(text, "why")
