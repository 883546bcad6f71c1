"""The command line: one file per verb, each loaded only when it is used."""

from __future__ import annotations

import os
import re
import sys
import warnings
from contextlib import redirect_stderr, suppress
from typing import Any, NoReturn

import click

from busbox import __version__
from busbox.basics.errors import BusboxError, join_or, nearest
from busbox.basics.paper import Paper, width_of
from busbox.basics.signals import Terminated, ending_signals
from busbox.cli.verbs import Verbs

#: The built-in verbs by group: name to one line of help, so that help imports none of them.
GROUPS = {
    "Run": {
        "run": "Run a bench's traffic and report what each device did.",
        "record": "Run a bench and write its bus accesses as traffic.",
        "state": "Show registers and pins at a moment of a run.",
        "why": "Trace a pin edge, event, access or finding back to its cause.",
        "twin": "Compare a model with its hardware twin, cycle by cycle.",
    },
    "What if": {
        "sweep": "Run a bench with many values of some keys, as a table.",
        "compare": "Compare two runs: what changes, what breaks.",
        "find": "Find the smallest or largest value of a key for which conditions hold.",
    },
    "Look up": {
        "list": "List the built-in benches, or what can be added: devices, formats, ...",
        "map": "Show a bench's address map: slots, images, gaps.",
        "where": "Show what answers at an address, or at each address of a C header.",
        "models": "List the models, or show one: registers, pins, settings, timing.",
        "attachments": "List what can be attached to pins: lamps, terminals, switches.",
        "explain": "Explain a finding: what it means, why it matters, what to do.",
        "guide": "Show the manual: the list of topics, or one of them.",
    },
    "Measure": {
        "check": "Check an Amaranth component against the bus's rules; measure its timing.",
        "timing": "List the clock counts that meet the timing of a lamp line.",
        "fit": "Find the clocks of a core from what it was recorded to do.",
        "baud": "Show the divisor and error that a clock gives for each baud rate.",
        "capture": "Decode the lines of a capture from real hardware.",
    },
    "Make": {
        "new": "Write a bench to start from, with a model or with a driver in C.",
        "convert": "Convert traffic between formats, names and numbers.",
        "schema": "Print the JSON Schema of a bench file, for editors.",
        "completion": "Print a script that adds command-line completion to a shell.",
    },
}

#: The variable that a shell sets to ask for the completion of a word.
COMPLETE = "_BUSBOX_COMPLETE"

#: The commands to start with, and what each does.
START = (
    ("busbox run first_light", "run a small bench that comes with Busbox"),
    ("busbox map first_light", "show where its devices answer"),
    ("busbox where first_light 0x44000008", "show what one address reaches"),
)


@click.group(
    cls=Verbs,
    groups=GROUPS,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Run a soft-core's bus traffic, cycle by cycle, against models of its peripherals.",
)
@click.version_option(__version__, prog_name="busbox")
@click.pass_context
def cli(context: click.Context) -> None:
    if context.invoked_subcommand is None:
        page = Paper(sys.stdout.isatty(), width_of(sys.stdout))
        page.line(
            "Busbox runs a soft-core's bus traffic against models of its peripherals. To begin:"
        )
        page.line()
        page.table(START)
        page.line()
        page.line("busbox --help lists every verb; busbox guide shows the manual.")
        page.print()


def _wrong_words(error: click.ClickException) -> str:
    """Return our message for what is wrong with the arguments of a command line."""
    context = getattr(error, "ctx", None)
    verb = f"{context.info_name}: " if context is not None and context.parent is not None else ""
    text = error.format_message()
    extra = re.fullmatch(r"Got unexpected extra arguments? \((.*)\)", text)
    if isinstance(error, click.NoSuchOption):
        known = [] if context is None else _options(context)
        name = error.option_name
        text = f"there is no option {name!r}{nearest(name, known)} (known: {join_or(known)})"
    elif isinstance(error, click.MissingParameter) and error.param is not None and context:
        text = f"{error.param.make_metavar(context)} must be given"
    elif extra is not None:
        text = f"unexpected argument: {extra[1]}"
    elif isinstance(error, click.BadOptionUsage):
        takes = "must be followed by a value" if "requires" in text else "takes no value"
        text = f"{error.option_name} {takes}"
    return f"{verb}{text}"


def _options(context: click.Context) -> list[str]:
    return [
        name
        for param in context.command.get_params(context)
        for name in param.opts
        if isinstance(param, click.Option) and name.startswith("--")
    ]


def _complete(wanted: str) -> NoReturn:
    """Answer a shell that completes a word, and exit; errors are not shown to it."""
    from busbox.cli.shells import answer

    with open(os.devnull, "w", encoding="utf-8") as nowhere, redirect_stderr(nowhere):
        warnings.simplefilter("ignore")
        text = answer(wanted, cli)
    # In bytes: text would end its lines as Windows does.
    click.echo(text.encode("utf-8"))
    sys.exit(0)


def main(args: list[str] | None = None) -> None:
    """Run the command line and exit with its exit code (``busbox guide exit-codes``)."""
    for stream in (sys.stdout, sys.stderr):
        # What a terminal's encoding cannot show is escaped, not an error.
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    if COMPLETE in os.environ:
        _complete(os.environ[COMPLETE])
    try:
        with ending_signals():
            code = cli.main(args, prog_name="busbox", standalone_mode=False)
            sys.stdout.flush()
    except BrokenPipeError:
        # The reader of our output has gone; do not complain while closing it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)
    except click.ClickException as error:
        click.echo(f"busbox: {_wrong_words(error)}", err=True)
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        # Of Amaranth: hardware that was just being built is not used.
        warnings.simplefilter("ignore")
        click.echo("stopped", err=True)
        sys.exit(130)
    except Terminated as ending:
        warnings.simplefilter("ignore")
        with suppress(OSError):  # after SIGHUP the terminal may be gone
            click.echo(f"stopped by {ending}", err=True)
        sys.exit(ending.code)
    except BusboxError as error:
        for line in str(error).split("\n"):
            click.echo(f"busbox: {line}", err=True)
        sys.exit(2)
    sys.exit(code if isinstance(code, int) else 0)
