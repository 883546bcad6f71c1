"""``busbox convert``."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import click

from busbox.basics.errors import READ_MISTAKES, InputError, Mistake, limited
from busbox.basics.listing import counted
from busbox.bench.bench import Bench
from busbox.cli import completing
from busbox.cli.common import paper
from busbox.cli.folding import show_folded
from busbox.cli.importing import Foreign, guess_map, list_signals
from busbox.cli.traffic_out import format_option, holds_marks, not_traffic, to_option
from busbox.cpu.steps import AccessStep, Handler, Named, Poll, Step, Target
from busbox.formats.contract import Format
from busbox.formats.files import read_traffic, suffixes, write_traffic, written_suffixes
from busbox.formats.folding import fold
from busbox.map.slots import AddressMap
from busbox.plugins import FORMATS
from busbox.recording import SUFFIX, Recording
from busbox.recording.as_steps import steps_of
from busbox.system.system import System


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
@to_option("OUT")
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
@click.option(
    "--fold", "folds", is_flag=True, help="Make polls and untils of reads that a loop repeated."
)
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
    folds: bool,
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

    --fold makes recorded traffic react again (busbox guide firmware): reads that a loop repeated
    become polls, and waits for a counter untils.

    \b
    busbox convert cabin.csv cabin.steps --fold
    busbox convert bus.vcd --guess > map.toml
    busbox convert bus.vcd traffic.csv --signals map.toml
    """
    if listed or guess:
        _only_reads(result, listed and guess)
        return list_signals(source) if listed else guess_map(source)
    if result is None:
        raise InputError.of("OUT must be given", "convert")
    given, wanted = formats = format_option(read_as, "--from"), format_option(write_as, "--to")
    _check(source, result, bench, names, numbers, formats)
    system = None if bench is None else Bench.load(bench).system(traffic=[])
    if source.endswith(SUFFIX):
        _not_for_recordings(signals, columns, clock)
        foreign, (steps, left_out) = None, _recorded(source, system, holds_marks(result, wanted))
    else:
        foreign, left_out = Foreign(source, signals, columns, clock), ""
        steps = read_traffic(Path(source), foreign.format(given, system))
    folded = fold(steps) if folds else None
    if folded is not None:
        steps = iter(folded.steps)
    if system is not None and (names or numbers):
        steps = _renamed(steps, system, names, source)
    count = write_traffic(Path(result), steps, wanted)
    page, address_map = paper(), None if system is None else system.address_map
    page.line(f"{result}: {counted(count, 'step')}{left_out}", hang=2)
    for note in foreign.notes if foreign else ():
        page.line(f"  {note}", hang=4)
    show_folded(folded, address_map, page)
    page.print()
    return 0


def _recorded(source: str, system: System | None, marks: bool) -> tuple[Iterator[Step], str]:
    """Return the steps of a saved recording, and what is left out of them."""
    recording = Recording.load(source)
    steps = steps_of(recording, system, marks=marks, source=source)
    left_out = bool(recording.marks) and not marks
    return steps, f"; {counted(len(recording.marks), 'mark')} left out" if left_out else ""


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
        if not (chosen or (recorded and is_in)):
            wrong = not_traffic(name, what, [*suffixes(), SUFFIX] if is_in else written_suffixes())
            mistakes += [wrong] if wrong else []
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
            if len(mistakes) == READ_MISTAKES:
                raise InputError(limited(mistakes, source)) from None
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
