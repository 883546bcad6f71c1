"""Why something happened: traced from the wire back to the line of firmware."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.basics.errors import InputError, join_or, nearest
from busbox.basics.hook_limit import limited_hooks
from busbox.basics.hooks import calling, refuse, wanted
from busbox.basics.listing import counted
from busbox.basics.phrases import Phrases
from busbox.basics.units import parse_span
from busbox.bus.transfers import TERMINATORS
from busbox.device import RELEASED, Reason, Reasons
from busbox.explain.origins import Origins, Part, Story
from busbox.explain.past import RecordedPast
from busbox.explain.reasons import all_reasons_of, are_phrases, reasons_of
from busbox.recording.judged import Finding

if TYPE_CHECKING:
    from busbox.board.attachment import Decoder
    from busbox.lines.wave import Wave
    from busbox.recording import Event, IntColumn, Recording
    from busbox.system.hardware import Device
    from busbox.system.system import System

#: The forms in which a question can be put.
FORMS = ("PIN@TIME", "event.N", "finding.N", "access.N")

#: How an access ended, as text.
_ENDS = {
    "ack": "ended with ACK",
    "error": "ended with ERR",
    "watchdog": "ended with ERR by the watchdog",
    "reset": "was cut off by a reset",
    "none": "was not answered by the end of the run,",
}

_NUMBERED = re.compile(r"(event|finding|access)\.([0-9]{1,18})")


class Stories(Origins):
    """Answers why something happened in one run."""

    def __init__(self, system: System, recording: Recording) -> None:
        super().__init__(system, recording)
        self._waves: dict[str, Wave] = {}
        self._decoders: dict[str, list[tuple[str, Decoder]]] = {}
        self._pasts: dict[int, RecordedPast] = {}

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
        return Story(f"{pin} {what} in {self.when(cycle)}", cycle, tuple(parts))

    def _event(self, number: int, event: Event) -> Story:
        title = f"{event.device}: {event.kind} in {self.when(event.cycle)}"
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
            parts += self.called(self.callers.at_end() if self.callers else ())
        title = f"{finding.rule} in {self.when(finding.cycle)}"
        return Story(title, finding.cycle, tuple(parts))

    def _access(self, number: int) -> Story:
        end = int(self.recording.accesses.end[number])
        effects = [
            Part("then", f"{event.device}: {event.kind} in {self.when(event.cycle)}")
            for event in self.recording.events
            if event.access == number
        ]
        for pin, line in self.recording.lines.items():
            mine = line.cycles[line.accesses == number].tolist()
            if mine:
                count = "1 edge" if len(mine) == 1 else f"{len(mine):,} edges"
                text = f"{pin}: {count}, the first in {self.when(mine[0])}"
                effects.append(Part("then", text))
        how = _ENDS[TERMINATORS[self.recording.accesses.terminator[number]]]
        return Story(
            f"access {number} {how} in {self.when(end)}",
            end,
            (*self._cause("access", number), *effects),
        )

    # Parts.

    def _points(self, pin: str, cycle: int) -> Iterator[Part]:
        """Yield what each decoder attached to a pin sees in a cycle."""
        for name, text in self.seen_on(pin, cycle):
            yield Part("wire", f"{name}: {text}")

    def decoders(self, pin: str) -> list[tuple[str, Decoder]]:
        """Return the decoders that are attached to a pin, by name."""
        from busbox.board.attachment import Decoder

        if pin not in self._decoders:
            names = [device.name for device in self.system.devices]
            self._decoders[pin] = [
                (one.name, one.part)
                for one in self.system.attached
                if f"{names[one.device]}.{one.pin}" == pin and isinstance(one.part, Decoder)
            ]
        return self._decoders[pin]

    def seen_on(self, pin: str, cycle: int) -> Iterator[tuple[str, str]]:
        """Yield (attachment, what it sees) in a cycle of a pin, where that is anything."""
        for name, decoder in self.decoders(pin):
            key = f"attach.{name}"
            with limited_hooks(), calling("its describe", key=key, hook=decoder.describe):
                text = decoder.describe(self.wave(pin), cycle)
            if not isinstance(text, str):
                refuse(f"its {wanted('describe', 'a text', text)}", decoder.describe, key)
            if text:
                yield name, text

    def wave(self, pin: str) -> Wave:
        """Return the line of a pin as decoders take it."""
        from busbox.lines.wave import Wave

        if pin not in self._waves:
            recording = self.recording
            self._waves[pin] = Wave.of_line(
                recording.lines[pin], recording.clock_hz, recording.cycles
            )
        return self._waves[pin]

    def seen_on_all(self, pin: str, cycles: IntColumn) -> dict[str, Phrases]:
        """Return what each decoder attached to a pin sees in many cycles, by its name."""
        found: dict[str, Phrases] = {}
        for name, decoder in self.decoders(pin):
            key, hook = f"attach.{name}", decoder.describe_all
            with limited_hooks(), calling("its describe_all", key=key, hook=hook):
                texts: Any = hook(self.wave(pin), cycles)
            if not are_phrases(texts, len(cycles)):
                rule = f"Phrases of {counted(len(cycles), 'text')}"
                refuse(f"its {wanted('describe_all', rule, texts)}", hook, key)
            found[name] = texts
        return found

    def reasons(self, pin: str, cycle: int, access: int) -> Iterator[Reason]:
        """Yield what an edge of a device's pin depends on, apart from its own access."""
        device, name, past = self._asked(pin)
        with limited_hooks():
            found = reasons_of(device, name, cycle, access, past)
        yield from found

    def all_reasons(self, pin: str, cycles: IntColumn, accesses: IntColumn) -> list[Reasons]:
        """Return what many edges of a device's pin depend on, apart from their own accesses."""
        device, name, past = self._asked(pin)
        with limited_hooks():
            return all_reasons_of(device, name, cycles, accesses, past)

    def _asked(self, pin: str) -> tuple[Device, str, RecordedPast]:
        """Return the device of a pin, the pin's name there, and the device's past."""
        slot, _, name = pin.partition(".")
        number = [device.name for device in self.system.devices].index(slot)
        if number not in self._pasts:
            self._pasts[number] = RecordedPast(self.system, self.recording, number)
        return self.system.devices[number], name, self._pasts[number]

    def _device(self, pin: str, cycle: int, access: int) -> Iterator[Part]:
        """Yield why a device drove a pin to its level: event, access, registers that mattered."""
        slot = pin.partition(".")[0]
        if self.recording.lines[pin].direction == "input":
            yield Part("driven by", "the board: an input, a wire, a reply or a driver of the bench")
            return
        for event in reversed(self.recording.events):
            if event.device == slot and event.access == access >= 0 and event.cycle <= cycle:
                yield Part("device", f"{slot}: {event.kind} in {self.when(event.cycle)}")
                break
        if access < 0 and cycle == 0:
            yield Part("caused by", "the start of the run: the pin has not changed yet")
            return
        reset = [first for first, _ in self.recording.resets if first + 1 == cycle]
        if access < 0 and reset:
            yield Part("caused by", f"the reset that began in {self.when(reset[0])}")
            return
        yield from [_nobody()] if access < 0 else self._cause("caused by", access)
        yield from self._between(pin, cycle, access)
        for reason in self.reasons(pin, cycle, access):
            if reason.access < 0:
                word = f"{slot}.{reason.register} had its reset value"
                yield Part("set by", f"{reason.what}: {word}")
            elif reason.access == access:
                yield Part("set by", reason.what)
            else:
                yield self.part("set by", reason.access, f"{reason.what}: ")

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
            yield self.part("in between", access - 1, f"{cycles}: {count}: ")

    def _cause(self, label: str, access: int) -> Iterator[Part]:
        """Yield an access, and who called what made it."""
        yield self.part(label, access)
        if self.callers is not None:
            yield from self.called(self.callers.of_access(access))


def _known(kind: str, count: int) -> str:
    """Return which numbers of a kind exist, as text."""
    if count < 2:
        return f"{kind} 0 only" if count else "none"
    return f"{kind}{'es' if kind == 'access' else 's'} 0 to {count - 1}"


def _nobody() -> Part:
    return Part("caused by", "no access: the device acted on its own or on an input")


def _level(level: int) -> str:
    return "released" if level == RELEASED else str(level)


def _unknown(text: str) -> InputError:
    return InputError.of(text, "why")
