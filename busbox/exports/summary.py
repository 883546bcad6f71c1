"""The summary of a run, for people."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeVar

from busbox.basics.listing import counted, printable_lines
from busbox.basics.paper import TIED, Paper, Word
from busbox.basics.units import show_time
from busbox.device import RELEASED
from busbox.exports.brief import (
    first_findings,
    found_in,
    place_of,
    write_certain,
    write_not_met,
    write_verdict,
)
from busbox.exports.contract import Result, Target
from busbox.exports.coverage import write_coverage
from busbox.exports.usage import usage
from busbox.exports.use_strip import write_strip
from busbox.findings.collecting import KEPT
from busbox.lines.colour import on_screen
from busbox.recording import Frame, Recording

#: Frames shown from the front and from the back, if there are more.
FIRST_FRAMES, LAST_FRAMES = 6, 2
#: Registers shown under a rule.
SHOWN_COUNTS = 8
#: Marks shown from the front and from the back.
FIRST_MARKS, LAST_MARKS = 12, 3

T = TypeVar("T")


def write(result: Result, target: Target) -> None:
    """The summary of a run, for people."""
    page = target.paper()
    summarise(result.recording, page, result.extras.get("coverage"))
    target.put(page)


def summarise(
    recording: Recording,
    paper: Paper,
    covered: Mapping[str, Any] | None = None,
) -> None:
    """Write the summary of a recording.

    Parameters
    ----------
    covered : what :func:`busbox.exports.coverage.coverage` gave, to be shown too
    """
    write_verdict(recording, paper)
    for note in recording.notes:
        paper.line(f"note: {note}", hang=2)
    if recording.certain is not None and not recording.certain.doubt:
        write_certain(recording, paper)
    _core(recording, paper)
    _marks(recording, paper)
    _slots(recording, paper)
    _texts(recording, paper)
    _levels(recording, paper)
    _frames(recording, paper)
    _attached(recording, paper)
    if covered is not None:
        write_coverage(covered, paper)
    write_findings(recording, paper)
    _expectations(recording, paper)
    paper.line()
    write_verdict(recording, paper)


def _expectations(recording: Recording, paper: Paper) -> None:
    if any(not verdict.met for verdict in recording.verdicts):
        paper.title("Expectations that were not met")
        write_not_met(recording, paper)


def _core(recording: Recording, paper: Paper) -> None:
    core = recording.core
    if core is None:
        return
    paper.title("Core")
    memories = ", ".join(
        f"{base:#010x} to {base + size - 1:#010x}" + ("" if writable else " (read only)")
        for base, size, writable in core.memories
    )
    paper.table(
        [
            ("program", f"{counted(core.instructions, 'instruction')} of {core.isa}"),
            ("ended", recording.core_end),
            ("memories", memories),
            ("clocks", clocks_text(core.clocks)),
        ]
    )


def clocks_text(clocks: Mapping[str, int]) -> str:
    """Return the clocks of instructions: ``load 4, every other instruction 3``."""
    base = clocks["base"]
    named = [f"{name.replace('_', ' ')} {count}" for name, count in clocks.items() if count != base]
    every = f"every other instruction {base}" if named else f"{base} for every instruction"
    return f"{', '.join([*named, every])}. Cores differ: busbox fit finds those of yours."


def _marks(recording: Recording, paper: Paper) -> None:
    if not recording.marks:
        return
    paper.title("Marks in the traffic")
    marks = _some(recording.marks, FIRST_MARKS, LAST_MARKS)
    paper.table(
        ("", "...") if mark is None else (show_time(mark[0], recording.clock_hz), mark[1])
        for mark in marks
    )


def _slots(recording: Recording, paper: Paper) -> None:
    used = usage(recording)
    paper.title("Accesses")
    rows: list[tuple[object, ...]] = []
    named = [(slot.name, slot.model, slot.ran_as) for slot in recording.slots]
    for (name, *how), use in zip(
        [*named, ("(no slot)", "", "")], [*used.slots, used.nowhere], strict=True
    ):
        if how != ["", ""] or use.reads or use.writes:
            counts = (f"{count:,}" for count in (use.reads, use.writes, use.waited))
            rows.append((name, *how, *counts))
    head = ("slot", "model", "ran as", "reads", "writes", "cycles waited")
    paper.table(rows, head=head, numbers=(3, 4, 5))
    count, errors = len(recording.accesses), f"{used.errors:,}" if used.errors else "none"
    paper.line(
        f"  {counted(count, 'access', 'accesses')} in total, {errors} "
        f"ended with ERR; the bus was busy for {counted(used.busy, 'cycle')} "
        f"({100 * used.busy / recording.cycles:.1f} %)"
    )
    write_strip(recording, paper)


def _texts(recording: Recording, paper: Paper) -> None:
    said = {name: text for name, text in recording.texts.items() if text}
    if not said:
        return
    paper.title("Texts")
    paper.table(
        ("" if number else name, line)
        for name, text in said.items()
        for number, line in enumerate(printable_lines(text))
    )


def _levels(recording: Recording, paper: Paper) -> None:
    moved = {pin: line for pin, line in recording.lines.items() if len(line.cycles) > 1}
    paper.title("Levels at the end")
    paper.table(
        [
            (
                pin,
                "released" if line.levels[-1] == RELEASED else int(line.levels[-1]),
                counted(len(line.cycles) - 1, "edge"),
                f"last at {show_time(int(line.cycles[-1]), recording.clock_hz)}",
            )
            for pin, line in moved.items()
        ],
        numbers=(2,),
    )
    still = len(recording.lines) - len(moved)
    if still:
        other = "the other " if moved else ""
        paper.line(f"  {other}{counted(still, 'pin')} did not move")


def _frames(recording: Recording, paper: Paper) -> None:
    for name, frames in recording.frames.items():
        if not frames:
            paper.title(f"Lamps: {name} sent no frame")
            continue
        count = counted(len(frames), "frame")
        paper.title(f"Lamps: {name} sent {count} (RRGGBB, lamp 0 first)")
        _table_of_frames(recording, frames, recording.light_of(name), paper)


def _attached(recording: Recording, paper: Paper) -> None:
    """Write what each attachment decoded; frames equal to those that a device sent are not repeated."""
    for name, seen in recording.seen.items():
        paper.title(f"Attached: {name}, {seen.kind} at {seen.pin}")
        paper.table(seen.rows)
        slot = seen.pin.partition(".")[0]
        sent = recording.frames.get(slot)
        if not seen.frames:
            continue
        if sent and [frame.colours for frame in sent] == [frame.colours for frame in seen.frames]:
            paper.line("  the lamps show the intended colours")
            continue
        _table_of_frames(recording, seen.frames, recording.light_of(slot), paper)


def _table_of_frames(
    recording: Recording, frames: Sequence[Frame], light: str, paper: Paper
) -> None:
    rows: list[tuple[object, ...]] = []
    for frame in _some(frames, FIRST_FRAMES, LAST_FRAMES):
        if frame is None:
            rows.append(("...", f"{len(frames) - FIRST_FRAMES - LAST_FRAMES:,} more", ""))
            continue
        cause = f"access {frame.access:,}" if frame.access >= 0 else "by itself"
        lamps = _colours(frame, light, paper.colours) if frame.colours else "no lamp"
        rows.append((show_time(frame.cycle, recording.clock_hz), cause, lamps))
    paper.table(rows, numbers=(0,))


def _some(items: Sequence[T], first: int, last: int) -> Iterator[T | None]:
    """Yield the first and the last items, and None for those in between."""
    if len(items) <= first + last + 1:
        yield from items
        return
    yield from items[:first]
    yield None
    yield from items[-last:]


def _colours(frame: Frame, light: str, shown: bool) -> list[Word]:
    """Return the colours of a frame, each on what a screen shows of it if it is ``shown``."""
    words: list[Word] = []
    for colour in frame.colours:
        words += [(" ", "")] if words else []
        words.append((f"{colour:06x}", _swatch(on_screen(colour, light)) if shown else ""))
    return words


def _swatch(colour: int) -> str:
    """Return the style that shows a colour of a screen."""
    red, green, blue = (colour >> shift & 0xFF for shift in (16, 8, 0))
    dark = 0.299 * red + 0.587 * green + 0.114 * blue < 128
    return f"{'white' if dark else 'black'} on #{colour:06x}"


def write_findings(recording: Recording, paper: Paper) -> None:
    """Write the first finding of each rule, and where the others are."""
    if not recording.counts:
        return
    total, rules = found_in(recording), 0
    paper.title(f"Findings: {total:,}")
    for rule, count, number, finding in first_findings(recording):
        rules += 1
        times = "" if count == 1 else f"{count:,} times; the first is "
        paper.line("  ", (rule, "bold red"), f"  {times}finding.{number}", hang=2)
        paper.line(f"    {place_of(recording, finding)}", hang=2)
        paper.line(f"    {finding.message}")
        paper.line("    try: ", (finding.hint, "green"), hang=2)
        if count > 1:
            paper.line(f"    where: {_where(recording.counts[rule])}", hang=2)
    more = "busbox why BENCH finding.N traces one back; busbox explain RULE describes a rule"
    if total > rules:
        more += f"; busbox run BENCH --json lists them all, up to {KEPT:,} of a rule"
    paper.line(f"  {more}.")


def _where(counts: Mapping[str, int]) -> str:
    most = sorted(counts.items(), key=lambda item: -item[1])
    listed = ", ".join(f"{key}{TIED}{count:,}" for key, count in most[:SHOWN_COUNTS])
    rest = len(most) - SHOWN_COUNTS
    more = f", and {rest:,} more {'place' if rest == 1 else 'places'}" if rest > 0 else ""
    return f"{listed}{more}"
