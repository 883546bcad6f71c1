"""The options by which ``busbox run`` connects a terminal: ``--live``, ``--pace``, ``--typed``."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from busbox.basics.errors import InputError, Mistake
from busbox.basics.files import replace_file
from busbox.cli import completing
from busbox.cli.writes import no_place
from busbox.run.live import Live

if TYPE_CHECKING:
    from busbox.recording import Recording

#: What stands behind the slot for a pseudo-terminal.
PSEUDO = "pty"
#: Options that run a bench more than once, or print something else to standard output.
_AGAINST = {"check_engines": "--check-engines", "stop_on": "--stop-on", "as_json": "--json"}


def live_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options to a command; it gets what they ask for as ``terminal``."""

    @wraps(command)
    def with_terminal(
        live: str | None, pace: str | None, typed: str | None, **others: Any
    ) -> object:
        return command(terminal=_terminal_of(live, pace, typed), **others)

    for option in (
        click.option(
            "--typed",
            metavar="FILE",
            shell_complete=completing.files,
            help="With --live: write what was typed to this new file, as [[input]] tables of a bench; "
            "without it, they are printed.",
        ),
        click.option(
            "--pace",
            metavar="NUMBER",
            help="With --live: simulated seconds in a second, at most; 1 is real time. Without it, as "
            "fast as it can.",
        ),
        click.option(
            "--live",
            metavar="SLOT[=pty]",
            help="Connect this terminal to the serial port in SLOT, or a new pseudo-terminal (=pty), "
            "while the run goes on. Ctrl-D in this terminal, or Ctrl-C, ends the run.",
        ),
    ):
        with_terminal = option(with_terminal)
    return with_terminal


@dataclass(frozen=True)
class Terminal:
    """A terminal that is to be connected.

    Attributes
    ----------
    slot : of the serial port
    pseudo : a new pseudo-terminal, not this one
    pace : simulated seconds in a second
    typed : the file for what is typed, or None
    """

    slot: str
    pseudo: bool
    pace: float | None
    typed: str | None


def show_typed(terminal: Terminal | None, live: Live | None, recording: Recording) -> None:
    """Print what was typed, if no file has it, and how the run is repeated."""
    if terminal is None or live is None:
        return
    tables = live.toml()
    if tables and terminal.typed is None:
        click.echo("\nTyped, as tables of the bench:\n")
        click.echo(tables, nl=False)
    if recording.ended == "until":
        tables = "these tables" if terminal.typed is None else f"the tables in {terminal.typed}"
        text = f"To repeat the run, add {tables} to the bench and run it with --until"
        click.echo(f"\n{text} {recording.cycles}.")


def _terminal_of(live: str | None, pace: str | None, typed: str | None) -> Terminal | None:
    """Return the terminal that the options ask for, or None.

    Raises
    ------
    InputError : options that cannot be used, or not together
    """
    mistakes = []
    if live is None:
        given = [("--pace", pace), ("--typed", typed)]
        mistakes = [Mistake("needs --live", option) for option, value in given if value is not None]
    else:
        used = click.get_current_context().params
        against = [option for name, option in _AGAINST.items() if used.get(name)]
        against += [f"--write {one}" for one in used.get("given") or () if one.endswith("=-")]
        mistakes += [Mistake(f"cannot be combined with {option}", "--live") for option in against]
    problem = _no_file(typed) if typed is not None else ""
    mistakes += [Mistake(problem, "--typed")] if problem else []
    number = None
    try:
        number = None if pace is None else _pace(pace)
    except ValueError as error:
        mistakes.append(Mistake(str(error), "--pace"))
    if mistakes:
        raise InputError(mistakes)
    if live is None:
        return None
    slot, sign, kind = live.partition("=")
    if sign and kind != PSEUDO:
        raise InputError.of(f"must be SLOT or SLOT={PSEUDO}, not {live!r}", "--live")
    return Terminal(slot, bool(sign), number, typed)


def _no_file(typed: str) -> str:
    """Return why what is typed cannot be written to a file, or "" if it can."""
    if typed != "-" and os.path.lexists(typed) and not os.path.isdir(typed):
        return f"must be a new file, so that nothing typed before is lost, not {typed!r}"
    return no_place(typed) if typed != "-" else "must be a file; without it, the tables are printed"


def _pace(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not 1e-6 <= number <= 1e6:
        raise ValueError(f"must be a number from 0.000001 to 1000000, not {text!r}")
    return number


@contextmanager
def terminal_open(terminal: Terminal | None) -> Iterator[Live | None]:
    """Give what connects a run to a terminal, while that is open; None without one.

    What was typed is kept even if the run does not come to its end.
    """
    if terminal is None:
        yield None
        return
    from busbox.cli.far_end import pseudo_terminal, this_terminal

    def say(text: str) -> None:
        click.echo(f"{terminal.slot} {text}", err=True)

    with pseudo_terminal(say) if terminal.pseudo else this_terminal() as far:
        live = Live(terminal.slot, far, terminal.pace)
        try:
            yield live
        except BaseException:
            if live.inputs and terminal.typed is None:
                click.echo(f"\nTyped, as tables of the bench:\n\n{live.toml()}", err=True, nl=False)
            elif live.inputs:
                _write(terminal, live)
            raise
        _write(terminal, live)


def _write(terminal: Terminal, live: Live) -> None:
    if terminal.typed is not None:
        replace_file(Path(terminal.typed), live.toml().encode("utf-8"))
