"""``busbox convert``."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from busbox.basics.errors import InputError, Mistake, format_value, join_or, limited
from busbox.basics.listing import counted
from busbox.basics.units import Span
from busbox.bench.bench import Bench
from busbox.bus.transfers import ACK, RESET
from busbox.cli import completing
from busbox.cli.common import paper
from busbox.cli.importing import Foreign, guess_map, list_signals
from busbox.cpu.steps import AccessStep, Handler, Mark, Named, Pause, Poll, ResetStep, Step, Target
from busbox.formats.contract import Format
from busbox.formats.csv import CSV
from busbox.formats.files import (
    format_of,
    is_traffic,
    read_traffic,
    suffixes,
    write_traffic,
    written_suffixes,
)
from busbox.formats.text import STEPS
from busbox.map.registers import WORD
from busbox.map.slots import AddressMap
from busbox.plugins import FORMATS, find
from busbox.recording import SUFFIX, Accesses, Recording, where, windows
from busbox.system.system import System

#: The formats that hold marks.
_WITH_MARKS = (STEPS, CSV)


@click.command("convert")
@click.argument("source", metavar="IN", shell_complete=completing.files)
@click.argument("result", metavar="OUT", required=False, shell_complete=completing.files)
@click.option(
    "--bench",
    metavar="BENCH",
    shell_complete=completing.benches,
    help="The bench whose address map and resets are used.",
)
@click.option(
    "--from",
    "read_as",
    metavar="FORMAT",
    shell_complete=completing.named(FORMATS),
    help="Format of IN, whatever its suffix.",
)
@click.option(
    "--to",
    "write_as",
    metavar="FORMAT",
    shell_complete=completing.named(FORMATS),
    help="Format of OUT, whatever its suffix.",
)
@click.option(
    "--signals",
    metavar="MAP",
    shell_complete=completing.files,
    help="TOML file that says which signal of IN is what.",
)
@click.option(
    "--columns",
    metavar="COLUMNS",
    help='Columns of a CSV file from elsewhere, such as "cycle=Cycle, address=Addr".',
)
@click.option("--clock", metavar="CLOCK", help="Clock whose cycles times become, such as '16 MHz'.")
@click.option("--list", "listed", is_flag=True, help="List the signals of a waveform, and stop.")
@click.option("--guess", is_flag=True, help="Print the map that their names suggest, and stop.")
@click.option("--names", is_flag=True, help="Write addresses as slot.REGISTER.")
@click.option("--numbers", is_flag=True, help="Write slot.REGISTER as addresses.")
def command(
    source: str,
    result: str | None,
    bench: str | None,
    read_as: str | None,
    write_as: str | None,
    signals: str | None,
    columns: str | None,
    clock: str | None,
    listed: bool,
    guess: bool,
    names: bool,
    numbers: bool,
) -> int:
    """Convert traffic from one format to another, by the suffix of the files.

    IN is a traffic file or a saved recording, *.recording.npz: its accesses become steps that, run
    on the same bench, give the same accesses. Comments are lost. A step that the format of OUT
    cannot express is refused. FORMAT is a suffix without its dot, or FILE.py:NAME (busbox list
    formats).

    A waveform, *.vcd, needs a map of its signals; a CSV file from elsewhere needs one, or the
    names of its columns: busbox guide importing.

    \b
    busbox convert bus.vcd --guess > map.toml
    busbox convert bus.vcd traffic.csv --signals map.toml
    """
    if listed or guess:
        _only_reads(result, listed and guess)
        return list_signals(source) if listed else guess_map(source)
    if result is None:
        raise InputError.of("OUT must be given", "convert")
    given, wanted = _format(read_as, "--from"), _format(write_as, "--to")
    _check(source, result, bench, names, numbers, (given, wanted))
    system = None if bench is None else Bench.load(bench).system(traffic=[])
    steps: Iterator[Step]
    left_out, foreign = "", None
    if source.endswith(SUFFIX):
        recording = Recording.load(source)
        _not_for_recordings(signals, columns, clock)
        marks = wanted in _WITH_MARKS if wanted else format_of(Path(result)) in _WITH_MARKS
        steps = steps_of(recording, system, marks=marks, source=source)
        if recording.marks and not marks:
            left_out = f"; {counted(len(recording.marks), 'mark')} left out"
    else:
        foreign = Foreign(source, signals, columns, clock)
        steps = read_traffic(Path(source), foreign.format(given, system))
    if system is not None and (names or numbers):
        steps = _renamed(steps, system, names, source)
    count = write_traffic(Path(result), steps, wanted)
    page = paper()
    page.line(f"{result}: {counted(count, 'step')}{left_out}", hang=2)
    for note in foreign.notes if foreign else ():
        page.line(f"  {note}", hang=4)
    page.print()
    return 0


def _format(name: str | None, option: str) -> Format | None:
    """Return the format that an option names."""
    if name is None:
        return None
    try:
        found: Format = find(FORMATS, name)
    except InputError as error:
        raise InputError(Mistake(str(one), option) for one in error.mistakes) from None
    return found


def _only_reads(result: str | None, both: bool) -> None:
    """Refuse what cannot be combined with ``--list`` and ``--guess``."""
    if both:
        raise InputError.of("cannot be combined with --guess", "--list")
    if result is not None:
        text = f"must not be given with --list or --guess, which write nothing: {result!r}"
        raise InputError.of(text, "OUT")


def _not_for_recordings(signals: str | None, columns: str | None, clock: str | None) -> None:
    for option, given in (("--signals", signals), ("--columns", columns), ("--clock", clock)):
        if given is not None:
            raise InputError.of("must not be given for a recording", option)


def _check(
    source: str,
    result: str,
    bench: str | None,
    names: bool,
    numbers: bool,
    formats: tuple[Format | None, Format | None],
) -> None:
    """Refuse arguments that cannot be combined."""
    mistakes = []
    recorded = source.endswith(SUFFIX)
    if recorded and formats[0] is not None:
        mistakes.append(Mistake(f"must not be given for a recording, {source!r}", "--from"))
    for what, name, chosen in (("IN", source, formats[0]), ("OUT", result, formats[1])):
        is_in = what == "IN"
        if not (chosen or (recorded and is_in) or is_traffic(Path(name))):
            known = join_or([*suffixes(), SUFFIX] if is_in else written_suffixes())
            text = f"must end in {known} (traffic may have .gz after it)"
            mistakes.append(Mistake(f"{text}, not {format_value(name)}", what))
    if names and numbers:
        mistakes.append(Mistake("cannot be combined with --numbers", "--names"))
    elif (names or numbers) and bench is None:
        mistakes.append(Mistake("must be given, to look names up", "--bench"))
    if mistakes:
        raise InputError(mistakes)


# Names and numbers.


def _renamed(steps: Iterable[Step], system: System, names: bool, source: str) -> Iterator[Step]:
    """Yield the steps with every target changed by the map.

    Raises
    ------
    InputError : with every name that the map does not have
    """
    from busbox.run.ledger import address_of

    mistakes: list[Mistake] = []

    def change(target: Target, line: int | None) -> Target:
        if names:
            return _name(target, system.address_map)
        try:
            return address_of(target, system)
        except ValueError as error:
            mistakes.append(Mistake(str(error), source, line))
            return target

    for step in steps:
        yield _changed(step, change)
    if mistakes:
        raise InputError(limited(mistakes, source))


def _changed(step: Step, change: Callable[[Target, int | None], Target]) -> Step:
    if isinstance(step, Handler):
        return replace(step, steps=tuple(_changed(inner, change) for inner in step.steps))
    if isinstance(step, AccessStep | Poll):
        return replace(step, target=change(step.target, step.line))
    return step


def _name(target: Target, address_map: AddressMap) -> Target:
    """Return the name of an address; an image and a hole have none."""
    if isinstance(target, Named):
        return target
    found = address_map.decode(target)
    if found.slot is None or found.place is None:
        return target
    name = Named(found.slot.name, found.place.name)
    return name if address_map.address_of(name.slot, name.register) == target else target


# A recording.

_MARK, _RESET, _ACCESS = range(3)


def steps_of(
    recording: Recording, system: System | None, *, marks: bool = True, source: str = ""
) -> Iterator[Step]:
    """Yield steps that give the accesses of a recording again, each in its cycles.

    A wait is the distance from F (semantics page, rules 10 to 17) to the start. Resets of the bench
    come again by themselves: a pause that runs in their row is cut off by them.

    Raises
    ------
    InputError : there were resets that cannot be attributed, or that restart the traffic
    """
    own = _own_resets(recording, system, source)
    accesses, lengths, free = recording.accesses, dict(recording.resets), 1
    for row, kind, what in heapq.merge(*_happenings(recording, marks)):
        if kind == _ACCESS:
            number = int(what)
            if row - free > WORD:
                yield Pause(Span(cycles=row - free))
                free = row
            yield _access(recording, number, row - free)
            end = int(accesses.end[number])
            free = end + 1 + (lengths[end] if accesses.terminator[number] == RESET else 0)
        elif kind == _MARK:
            if row > free:
                yield Pause(Span(cycles=row - free))
                free = row
            yield Mark(str(what))
        elif row in own:
            yield Pause(Span(cycles=row - free + 1))
            free = row + lengths[row] + 1
        else:
            yield ResetStep(row - free)
            free = row + 2


def _own_resets(recording: Recording, system: System | None, source: str) -> set[int]:
    """Return the rows in which the bench, not the traffic, put RST high."""
    if not recording.resets:
        return set()
    first = recording.resets[0][0]
    if system is None:
        raise InputError.of(
            f"must be given: the recording has a reset in cycle {first:,}, and the bench says whether "
            "it causes that reset",
            "--bench",
        )
    own = {row for row, _ in recording.resets} & {reset.at for reset in system.resets}
    if own and system.after_reset == "restart":
        raise InputError.of(
            f"the bench's reset in cycle {min(own):,} restarted the traffic (after_reset = "
            '"restart"): the accesses before and after it are not one sequence of steps',
            source,
        )
    return own


_Happening = tuple[int, int, int | str]


def _happenings(recording: Recording, marks: bool) -> Iterator[Iterator[_Happening]]:
    """Yield (row, kind, what) of all that becomes a step, each kind in order of row.

    A reset that cut off an access is no step.
    """
    accesses = recording.accesses
    cut = {int(accesses.end[number]) for number in where(accesses, _cut_off)}
    yield ((row, _MARK, text) for row, text in (recording.marks if marks else ()))
    yield ((row, _RESET, 0) for row, _ in recording.resets if row not in cut)
    yield (
        (start, _ACCESS, first + place)
        for first, part in windows(accesses)
        for place, start in enumerate(part.start.tolist())
    )


def _cut_off(part: Accesses) -> Any:
    return part.terminator == RESET


def _access(recording: Recording, number: int, wait: int) -> AccessStep:
    accesses = recording.accesses
    write, data, pc = bool(accesses.write[number]), int(accesses.data[number]), accesses.pc[number]
    known = write or accesses.terminator[number] == ACK
    return AccessStep(
        write,
        int(accesses.address[number]),
        data if known else None,
        int(accesses.lanes[number]),
        wait,
        None if pc < 0 else int(pc),
    )
