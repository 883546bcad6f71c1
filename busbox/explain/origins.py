"""Where an access comes from: its line of traffic, its instruction, who called."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from busbox.basics.units import show_time
from busbox.explain.callers import Caller, Callers

if TYPE_CHECKING:
    from busbox.firmware.program import Firmware
    from busbox.recording import Recording
    from busbox.system.system import System

ALL_LANES = 0b1111


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


class Origins:
    """Says in words where the accesses of one run come from."""

    def __init__(self, system: System, recording: Recording) -> None:
        self.system, self.recording = system, recording
        self._firmware: Firmware | None = None
        if system.firmware:
            from busbox.firmware.program import Firmware

            self._firmware = Firmware(system.firmware)

    def when(self, cycle: int) -> str:
        """Return a cycle and its time as text."""
        return f"cycle {cycle:,} ({show_time(cycle, self.recording.clock_hz)})"

    def called(self, callers: Iterable[Caller]) -> Iterator[Part]:
        """Yield the frames of a stack, the innermost first."""
        for caller in callers:
            facts: dict[str, Any] = {"pc": caller.pc, "how": caller.how}
            source = ", ".join(self.source_of(caller.at, facts)) or "code without debug information"
            text = _frame(caller, source)
            yield Part("called by", text, -1, "", facts)

    @cached_property
    def callers(self) -> Callers | None:
        """What finds callers, if a core executed a program whose debug information is known."""
        if self.system.core is None or self._firmware is None:
            return None
        return Callers(self.system, self.recording, self._firmware.frames)

    def part(self, label: str, access: int, before: str = "") -> Part:
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
            f"{self.when(int(accesses.end[access]))}"
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
            source = list(self.source_of(pc, facts))
            if facts.get("file") and place.endswith(f"{facts['file']}:{facts['source_line']}"):
                words.remove(place)  # the line of the step is that of the instruction
            words += source
        return Part(label, text, access, ", ".join(words), facts)

    def source_of(self, pc: int, facts: dict[str, Any]) -> Iterator[str]:
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


def _frame(caller: Caller, source: str) -> str:
    """Return a frame of a stack as text."""
    if caller.how == "call":
        return f"{source} (returns to {caller.pc:#x})"
    return (
        f"{'an' if caller.how == 'interrupt' else 'a'} {caller.how} in {source} (pc {caller.pc:#x})"
    )
