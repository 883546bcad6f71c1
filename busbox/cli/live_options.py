"""The options by which ``busbox run`` connects a terminal: ``--live``, ``--pace``, ``--typed``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import Any

import click

from busbox.basics.errors import InputError, Mistake
from busbox.basics.files import replacing
from busbox.cli import completing
from busbox.cli.writes import no_place
from busbox.run.live import Live

#: What stands behind the slot for a pseudo-terminal.
PSEUDO = "pty"
#: Options that run a bench more than once, or print something else to standard output.
_AGAINST = ("check_engines", "stop_on", "as_json")


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
            help="Write what was typed as [[input]] tables of a bench; without it, print them.",
        ),
        click.option(
            "--pace",
            metavar="NUMBER",
            help="Simulated seconds in a second, at most, such as 1 for real time.",
        ),
        click.option(
            "--live",
            metavar="SLOT[=pty]",
            help="Connect this terminal, or a new pseudo-terminal, to a serial port. Ctrl-D or Ctrl-C "
            "ends the run.",
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


def keep(terminal: Terminal | None, live: Live | None) -> None:
    """Write what was typed to the file for it, or print it; nothing without a terminal.

    Raises
    ------
    InputError : the file cannot be written
    """
    if terminal is None or live is None:
        return
    if terminal.typed is not None:
        with replacing(Path(terminal.typed)) as file:
            file.write(live.toml().encode("utf-8"))
    elif live.inputs:
        click.echo("\nTyped, as tables of the bench:\n")
        click.echo(live.toml(), nl=False)


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
        for name in _AGAINST:
            if used.get(name):
                option = "--json" if name == "as_json" else f"--{name.replace('_', '-')}"
                mistakes.append(Mistake(f"cannot be combined with {option}", "--live"))
    problem = no_place(typed) if typed is not None else ""
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

    def say(name: str) -> None:
        click.echo(f"{terminal.slot} is at {name}", err=True)

    with pseudo_terminal(say) if terminal.pseudo else this_terminal() as far:
        live = Live(terminal.slot, far, terminal.pace)
        try:
            yield live
        except BaseException:
            keep(terminal, live)
            raise
