"""What happened in a run, in plain words: a line for each device, before anything is drawn.

A reader who has never seen the bench asks first what the run did: what was read and written, the text
that was sent, the lamps that lit, the pins that moved. The timetable shows when; these lines say what.
"""

from __future__ import annotations

from collections.abc import Iterator

from busbox.basics.listing import counted, printable_lines
from busbox.basics.units import show_time
from busbox.exports.usage import Use, usage
from busbox.recording import Recording
from busbox.recording.parts import LineReading

#: Pins and marks that are named, and characters of a text that are shown.
PINS, MARKS, LETTERS = 8, 8, 240


def happened(recording: Recording) -> Iterator[tuple[str, str]]:
    """Yield (name, sentences): of the traffic's marks, each slot, accesses without one, attachments."""
    if recording.marks:
        yield "marks", _marks(recording)
    used = usage(recording)
    for slot, use in zip(recording.slots, used.slots, strict=True):
        yield slot.name, " ".join(_of_slot(recording, slot.name, use))
    if used.nowhere.reads or used.nowhere.writes:
        yield "no slot", f"{_use(used.nowhere)} reached no slot."
    for name, seen in recording.seen.items():
        said = _seen(recording, seen)
        if said:
            yield name, said


def _marks(recording: Recording) -> str:
    named = [
        f"{text} ({show_time(cycle, recording.clock_hz)})"
        for cycle, text in recording.marks[:MARKS]
    ]
    more = len(recording.marks) - MARKS
    return "; ".join([*named, *([f"and {counted(more, 'more mark')}"] if more > 0 else [])]) + "."


def _of_slot(recording: Recording, name: str, use: Use) -> Iterator[str]:
    yield f"{_use(use)}."
    text = recording.texts.get(name)
    if text:
        yield f"It sent {_quoted(text)}."
    if name in recording.frames:
        frames = recording.frames[name]
        yield (
            f"It sent {counted(len(frames), 'frame')} to its lamps."
            if frames
            else "It sent no frame."
        )
    moved = [
        pin.partition(".")[2]
        for pin, line in recording.lines.items()
        if pin.startswith(f"{name}.") and len(line.cycles) > 1
    ]
    if moved:
        more = len(moved) - PINS
        rest = f" and {more:,} more" if more > 0 else ""
        pins = "Pin that moved" if len(moved) == 1 else "Pins that moved"
        yield f"{pins}: {', '.join(moved[:PINS])}{rest}."


def _use(use: Use) -> str:
    if not use.reads and not use.writes:
        return "Not accessed"
    return f"{counted(use.reads, 'read')} and {counted(use.writes, 'write')}"


def _seen(recording: Recording, seen: LineReading) -> str:
    """Return what an attachment understood; "" if it decodes neither text nor frames."""
    if seen.text is not None:
        return (
            f"It read {_quoted(seen.text)} on {seen.pin}."
            if seen.text
            else f"It read nothing on {seen.pin}."
        )
    if seen.frames is None:
        return ""
    sent = recording.frames.get(seen.pin.partition(".")[0])
    if not seen.frames:
        return f"The lamps on {seen.pin} show no frame."
    said = f"The lamps on {seen.pin} show {counted(len(seen.frames), 'frame')}"
    if sent is None:
        return f"{said}."
    same = [one.colours for one in sent] == [one.colours for one in seen.frames]
    return f"{said}, {'all as sent' if same else 'not all as sent'}."


def _quoted(text: str) -> str:
    shown = " / ".join(printable_lines(text[:LETTERS]))
    return f"\N{LEFT DOUBLE QUOTATION MARK}{shown}\N{RIGHT DOUBLE QUOTATION MARK}" + (
        f" and {len(text) - LETTERS:,} more characters" if len(text) > LETTERS else ""
    )
