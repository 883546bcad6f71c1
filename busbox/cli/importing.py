"""What ``busbox convert`` does with files of other origin: signals of a bus, and tables of accesses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import click

from busbox.basics.errors import InputError, Mistake, no_file
from busbox.basics.files import opened
from busbox.basics.listing import counted
from busbox.basics.toml_file import read_toml
from busbox.basics.toml_lines import key_lines, line_of
from busbox.basics.units import parse_clock, without_subject
from busbox.cli.common import paper
from busbox.formats.columns import OPTION, WHEN, columns_of, of_columns
from busbox.formats.contract import Format, SignalRequest
from busbox.formats.files import format_of
from busbox.formats.waveform.guessing import guesses, roles_of
from busbox.formats.waveform.header import Variable
from busbox.formats.waveform.samples import TIME_UNITS
from busbox.formats.waveform.vcd import VcdReader
from busbox.system.system import System

#: Maps that were guessed, at most.
SHOWN = 4


@dataclass
class Foreign:
    """How a file of other origin is read.

    Attributes
    ----------
    source : the file
    signals : the file of the map, or None
    columns, clock : the options, or None
    notes : what a reader should know, once the file has been read
    """

    source: str
    signals: str | None
    columns: str | None
    clock: str | None
    notes: tuple[str, ...] = field(default=())

    def format(self, chosen: Format | None, system: System | None) -> Format | None:
        """Return the format that reads the file, or ``chosen`` if there is nothing special about it.

        Parameters
        ----------
        system : that of ``--bench``, or None

        Raises
        ------
        InputError : an option, or the map, cannot be used
        """
        clock_hz = self._clock_hz(system)
        if self.signals is None and self.columns is None:
            if self.clock is not None:
                raise InputError.of("is for times of a file with --signals or --columns", "--clock")
            found = chosen or format_of(Path(self.source))
            if found.read is None and found.of_signals is not None:
                text = f"must be given: {self.source} holds the signals of a bus"
                raise InputError.of(text, "--signals")
            return chosen
        if self.signals is None:
            return of_columns(columns_of(self.columns or ""), clock_hz, _inside(system), self._tell)
        found = chosen or format_of(Path(self.source))
        if found.of_signals is None:
            text = f"must not be given: {self.source} holds steps, not signals"
            raise InputError.of(text, "--signals")
        return found.of_signals(self._request(self.signals, clock_hz, system))

    def _request(self, file: str, clock_hz: int | None, system: System | None) -> SignalRequest:
        missing = no_file(Path(file))
        if missing:
            raise InputError.of(missing, "--signals")
        table, text = read_toml(Path(file))
        lines = key_lines(text)

        def placed(key: str, text: str) -> Mistake:
            return Mistake(text, file, line_of(lines, (key,)) if key else None, key)

        return SignalRequest(
            table, placed, clock_hz, _inside(system), self._time_column(), self._tell
        )

    def _clock_hz(self, system: System | None) -> int | None:
        if self.clock is None:
            return None if system is None else system.clock_hz
        if system is not None:
            raise InputError.of("cannot be combined with --bench, which has a clock", "--clock")
        try:
            return parse_clock(self.clock)
        except ValueError as error:
            raise InputError.of(without_subject(error), "--clock") from None

    def _time_column(self) -> tuple[str, str] | None:
        """Return the column of times of a table of samples."""
        if self.columns is None:
            return None
        columns = columns_of(self.columns)
        key, column = next(iter(columns.items()))
        if len(columns) > 1 or key not in TIME_UNITS:
            known = " or ".join(name for name in WHEN if name in TIME_UNITS)
            text = f"may only name a column of times ({known}) if there is a map"
            raise InputError.of(text, OPTION)
        return key, column.name

    def _tell(self, notes: tuple[str, ...]) -> None:
        self.notes = notes


def _inside(system: System | None) -> Callable[[int], bool] | None:
    if system is None:
        return None
    slots = system.address_map
    return lambda address: slots.decode(address).slot is not None


def variables_of(source: str) -> tuple[Variable, ...]:
    """Return the variables of a waveform.

    Raises
    ------
    InputError : it is none
    """
    path = Path(source)
    if path.with_suffix("").suffix + path.suffix != ".vcd.gz" and path.suffix != ".vcd":
        raise InputError.of(f"must end in .vcd or .vcd.gz, not {path.name!r}", "IN")
    missing = no_file(path)
    if missing:
        raise InputError.of(missing)
    with opened(path, packed=path.suffix == ".gz") as file:
        return VcdReader(file, source).header.variables


def list_signals(source: str) -> int:
    """Print the signals of a waveform: path, width, and what each could be."""
    variables = variables_of(source)
    page = paper()
    page.title(f"{source}: {counted(len(variables), 'signal')}")
    page.table(
        (one.short, f"{one.width} bit{'' if one.width == 1 else 's'}", ", ".join(roles_of(one)))
        for one in variables
    )
    page.print()
    return 0


def guess_map(source: str) -> int:
    """Print the map that the names of a waveform's signals suggest.

    Raises
    ------
    InputError : they suggest none
    """
    found = guesses(variables_of(source))
    whole = [guess for guess in found if not guess.lacks]
    if not whole:
        nearest = next((guess for guess in found if len(guess.lacks) <= 3), None)
        text = "no bus was found by the names of the signals (--list shows them)"
        if nearest is not None:
            text += f"; nearest is {nearest.kind.name} in {nearest.scope or 'no scope'}, without "
            text += ", ".join(nearest.lacks)
        raise InputError.of(text, source)
    first, *others = whole
    click.echo(f"# Guessed from the names of {source}: check every line.")
    for line in first.lines():
        click.echo(line)
    for guess in others[:SHOWN]:
        click.echo(f"# Also possible: {guess.kind.name} in {guess.scope or 'no scope'}")
    return 0
