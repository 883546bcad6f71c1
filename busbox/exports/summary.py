"""The summary of a run, for people."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeVar

from busbox.basics.listing import printable_lines, wrapped
from busbox.basics.paper import Paper, Word
from busbox.basics.units import show_clock, show_time
from busbox.device import RELEASED
from busbox.exports.contract import Result, Target
from busbox.exports.coverage import write_coverage
from busbox.exports.usage import usage
from busbox.recording import Frame, Recording
from busbox.recording.judged import Finding, Verdict

#: Frames shown from the front and from the back, if there are more.
FIRST_FRAMES, LAST_FRAMES = 6, 2
LAMPS_A_LINE = 10
#: Registers shown under a rule.
SHOWN_COUNTS = 8
#: Marks shown from the front and from the back.
FIRST_MARKS, LAST_MARKS = 12, 3

T = TypeVar("T")

_ENDS = {
    "done": "done",
    "until": "stopped at the time asked for",
    "hang": "the CPU hangs",
    "settle": "stopped: a device did not come to rest",
}


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
    write_end(recording, paper)
    for note in recording.notes:
        paper.line(f"note: {note}")
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


def write_end(recording: Recording, paper: Paper) -> None:
    """Write how the run ended, and when."""
    time = show_time(recording.cycles, recording.clock_hz)
    stopped = recording.ended == "until" and recording.stopped_on is not None
    how = "stopped" if stopped else _ENDS[recording.ended]
    paper.line(
        (recording.bench, "bold"),
        f": {how} after {time} ({recording.cycles:,} cycles at "
        f"{show_clock(recording.clock_hz)}), engine {recording.engine}",
    )


def expectation_line(verdict: Verdict) -> str:
    """Return an expectation that is not met, with what was seen instead."""
    return f"{verdict.what}; seen: {verdict.seen}"


def _expectations(recording: Recording, paper: Paper) -> None:
    if not recording.verdicts:
        return
    broken = [one for one in recording.verdicts if not one.met]
    number = len(recording.verdicts)
    paper.title(f"Expectations: {number - len(broken)} of {number} met")
    for one in broken:
        paper.line("  ", ("not met", "bold red"), f"  {expectation_line(one)}")


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
    rows: list[tuple[object, ...]] = [("slot", "model", "reads", "writes", "cycles waited")]
    named = [(slot.name, slot.model) for slot in recording.slots]
    for (name, model), use in zip(
        [*named, ("(no slot)", "")], [*used.slots, used.nowhere], strict=True
    ):
        if name in dict(named) or use.reads or use.writes:
            counts = (f"{count:,}" for count in (use.reads, use.writes, use.waited))
            rows.append((name, model, *counts))
    paper.table(rows, numbers=(2, 3, 4))
    paper.line(
        f"  in all {len(recording.accesses):,} accesses, {used.errors:,} ended with ERR; the bus "
        f"was in use for {used.busy:,} cycles ({100 * used.busy / recording.cycles:.1f} %)"
    )


def _texts(recording: Recording, paper: Paper) -> None:
    said = {name: text for name, text in recording.texts.items() if text}
    if not said:
        return
    paper.title("Texts")
    for name, text in said.items():
        for number, line in enumerate(printable_lines(text)):
            label = name if number == 0 else " " * len(name)
            paper.line(f"  {label}  {line}")


def _levels(recording: Recording, paper: Paper) -> None:
    moved = {pin: line for pin, line in recording.lines.items() if len(line.cycles) > 1}
    paper.title("Levels at the end")
    paper.table(
        [
            (
                pin,
                "released" if line.levels[-1] == RELEASED else int(line.levels[-1]),
                "1 edge" if len(line.cycles) == 2 else f"{len(line.cycles) - 1:,} edges",
                f"last at {show_time(int(line.cycles[-1]), recording.clock_hz)}",
            )
            for pin, line in moved.items()
        ],
        numbers=(2,),
    )
    still = len(recording.lines) - len(moved)
    if still:
        paper.line(f"  {'the other ' if moved else ''}{still} pins did not move")


def _frames(recording: Recording, paper: Paper) -> None:
    for name, frames in recording.frames.items():
        if not frames:
            paper.title(f"Lamps: {name} sent no frame")
            continue
        plural = "frame" if len(frames) == 1 else "frames"
        paper.title(f"Lamps: {name} sent {len(frames)} {plural} (RRGGBB, lamp 0 first)")
        for frame in _some(frames, FIRST_FRAMES, LAST_FRAMES):
            if frame is None:
                paper.line(f"  ... {len(frames) - FIRST_FRAMES - LAST_FRAMES} more")
            else:
                _frame(recording, frame, paper)


def _attached(recording: Recording, paper: Paper) -> None:
    """Write what each attachment understood; frames that a device meant so are not shown again."""
    for name, seen in recording.seen.items():
        paper.title(f"Attached: {name}, {seen.kind} at {seen.pin}")
        paper.table(wrapped(seen.rows))
        meant = recording.frames.get(seen.pin.partition(".")[0])
        if not seen.frames:
            continue
        if meant and [one.colours for one in meant] == [one.colours for one in seen.frames]:
            paper.line("  the lamps show the colours that were meant")
            continue
        for frame in _some(seen.frames, FIRST_FRAMES, LAST_FRAMES):
            if frame is None:
                paper.line(f"  ... {len(seen.frames) - FIRST_FRAMES - LAST_FRAMES} more")
            else:
                _frame(recording, frame, paper)


def _some(items: Sequence[T], first: int, last: int) -> Iterator[T | None]:
    """Yield the first and the last items, and None for those in between."""
    if len(items) <= first + last + 1:
        yield from items
        return
    yield from items[:first]
    yield None
    yield from items[-last:]


def _frame(recording: Recording, frame: Frame, paper: Paper) -> None:
    when = show_time(frame.cycle, recording.clock_hz)
    cause = f"access {frame.access:<6}" if frame.access >= 0 else f"{'by itself':<13}"
    head = f"  {when:>9}  {cause}"
    if not frame.colours:
        paper.line(f"{head} no lamp")
    for first in range(0, len(frame.colours), LAMPS_A_LINE):
        words: list[Word] = [(head if first == 0 else " " * len(head), "")]
        for colour in frame.colours[first : first + LAMPS_A_LINE]:
            style = _swatch(colour) if paper.colours else ""
            words += [(" ", ""), (f"{colour:06x}", style)]
        paper.line(*words)


def _swatch(colour: int) -> str:
    """Return the style that shows a lamp's colour on a screen.

    A lamp's light is proportional to its value (pulse-width modulation); a screen wants the sRGB
    encoding of that light. Source: sRGB transfer function, IEC 61966-2-1.
    """
    red, green, blue = (_encoded(colour >> shift & 0xFF) for shift in (16, 8, 0))
    dark = 0.299 * red + 0.587 * green + 0.114 * blue < 128
    return f"{'white' if dark else 'black'} on #{red:02x}{green:02x}{blue:02x}"


def _encoded(value: int) -> int:
    light = value / 255
    curve = 12.92 * light if light <= 0.0031308 else 1.055 * light ** (1 / 2.4) - 0.055
    return round(255 * curve)


def write_findings(recording: Recording, paper: Paper) -> None:
    """Write the findings: of each rule the first, and where the others are."""
    if not recording.counts:
        paper.title("Findings: none")
        return
    total = sum(sum(of_rule.values()) for of_rule in recording.counts.values())
    paper.title(f"Findings: {total:,}")
    first: dict[str, Finding] = {}
    for finding in recording.findings:
        first.setdefault(finding.rule, finding)
    for rule, finding in first.items():
        _rule(recording, rule, finding, paper)


def _rule(recording: Recording, rule: str, finding: Finding, paper: Paper) -> None:
    counts = recording.counts[rule]
    number = sum(counts.values())
    paper.line("  ", (rule, "bold red"), "" if number == 1 else f"  {number:,} times; the first:")
    paper.line(f"    {place_of(recording, finding)}")
    paper.line(f"    {finding.message}")
    paper.line("    try: ", (finding.hint, "green"))
    if number > 1:
        most = sorted(counts.items(), key=lambda item: -item[1])
        listed = ", ".join(f"{key} {count:,}" for key, count in most[:SHOWN_COUNTS])
        more = f", and {len(most) - SHOWN_COUNTS} more places" if len(most) > SHOWN_COUNTS else ""
        paper.line(f"    where: {listed}{more}")


def place_of(recording: Recording, finding: Finding) -> str:
    """Return cycle, time, access, line of the traffic and pc of a finding, in words."""
    when = show_time(finding.cycle, recording.clock_hz)
    parts = [f"cycle {finding.cycle:,} ({when})"]
    if finding.access >= 0:
        parts.append(f"access {finding.access}")
    if finding.line >= 0:
        parts.append(recording.place_of(finding.access))
    if finding.pc >= 0:
        parts.append(f"pc {finding.pc:#x}")
    if finding.source:
        parts.append(finding.source)
    return ", ".join(parts)
