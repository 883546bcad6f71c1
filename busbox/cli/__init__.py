"""The command line: one file per verb, each loaded only when it is used."""

from __future__ import annotations

import os
import re
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr
from typing import NoReturn

import click

from busbox import __version__
from busbox.basics.errors import BusboxError, bounded, join_or, nearest
from busbox.basics.files import inputs_kept
from busbox.basics.paper import paper_for
from busbox.basics.signals import Terminated, ending_signals
from busbox.basics.strangers import ALLOW_OUTSIDE, NO_PLUGINS, VARIABLES
from busbox.cli.streams import drop_output, mend_streams, say
from busbox.cli.verbs import Verbs

#: The built-in verbs by group: name to one line of help, so that help imports none of them.
GROUPS = {
    "Run": {
        "run": "Run a bench's traffic and report what each device did.",
        "report": "Write a run as one page for a browser: verdict, findings, timetable.",
        "record": "Run a bench and write its bus accesses as traffic.",
        "state": "Show registers and pins at a moment of a run.",
        "why": "Trace a pin edge, event, access or finding back to its cause.",
        "twin": "Compare a device with its hardware twin, cycle by cycle.",
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
        "models": "List the models, or show one: bus port, registers, pins, settings, timing.",
        "attachments": "List what can be attached to pins: lamps, terminals, switches.",
        "explain": "Explain a finding: what it means, why it matters, what to do.",
        "guide": "Show the manual: the list of topics, or one of them.",
    },
    "Measure": {
        "check": "Check a component (Amaranth, Verilog) against its bus rules; measure its timing.",
        "timing": "List the clock counts that meet the timing of a lamp line.",
        "fit": "Find the clocks of a core from what it was recorded to do.",
        "baud": "Show the divisor and error that a clock gives for each baud rate.",
        "capture": "Decode the lines of a capture from real hardware.",
    },
    "Learn": {
        "lesson": "Learn address decoding: tasks, checked by running a bench.",
    },
    "Make": {
        "new": "Write a bench or a device to start from.",
        "draw": "Draw a picture (SVG): map, decoding, access, pulse, lamps, pins, sweep.",
        "export": "Write hardware devices as Verilog, one by one or with the fabric.",
        "registers": "Write a bench's registers: C header, Python class, reference, SystemRDL, JSON.",
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
@click.option(
    NO_PLUGINS,
    is_flag=True,
    help="Refuse all code that does not come with Busbox, such as FILE.py of a bench.",
)
@click.option(ALLOW_OUTSIDE, is_flag=True, help="Let a bench name files outside of its folder.")
@click.version_option(__version__, prog_name="busbox")
@click.pass_context
def cli(context: click.Context, no_plugins: bool, allow_outside: bool) -> None:
    if context.invoked_subcommand is None:
        page = paper_for(sys.stdout)
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
    extra = re.fullmatch(r"Got unexpected extra arguments? \((.*)\)", text, re.DOTALL)
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
    # NumPy starts threads for linear algebra, of which there is none here: a sixth of a short run.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    mend_streams()
    if COMPLETE in os.environ:
        _complete(os.environ[COMPLETE])
    try:
        with (
            ending_signals(),
            inputs_kept(),
            _trusting(sys.argv[1:] if args is None else args) as words,
        ):
            code = cli.main(words, prog_name="busbox", standalone_mode=False)
            sys.stdout.flush()
    except BrokenPipeError:
        drop_output()  # its reader has gone; do not complain while closing it
        sys.exit(1)
    except click.ClickException as error:
        say(f"busbox: {_wrong_words(error)}".replace("\n", "\\n"))
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        # Of Amaranth: hardware that was just being built is not used.
        warnings.simplefilter("ignore")
        say("stopped")
        sys.exit(130)
    except Terminated as ending:
        warnings.simplefilter("ignore")
        say(f"stopped by {ending}")
        sys.exit(ending.code)
    except (BusboxError, OSError, MemoryError) as error:
        warnings.simplefilter("ignore")  # of Amaranth, as above
        _refuse(error)
    sys.exit(code if isinstance(code, int) else 0)


@contextmanager
def _trusting(args: list[str]) -> Iterator[list[str]]:
    """Take the options on strangers, which stand before or behind a verb; give the other arguments."""
    end = args.index("--") if "--" in args else len(args)
    given = [variable for option, variable in VARIABLES.items() if option in args[:end]]
    before = {variable: os.environ.get(variable) for variable in given}
    os.environ.update(dict.fromkeys(given, "1"))
    try:
        yield [one for one in args[:end] if one not in VARIABLES] + args[end:]
    finally:
        for variable, value in before.items():
            if value is None:
                del os.environ[variable]
            else:
                os.environ[variable] = value


def _refuse(error: BaseException) -> NoReturn:
    """Say why a command cannot be carried out, and exit with 2."""
    if isinstance(error, MemoryError):
        text = "not enough memory"
    elif isinstance(error, OSError):
        named = error.filename is not None
        where = bounded(os.fsdecode(error.filename)) if named else "standard output"
        text = f"{where}: cannot be {'used' if named else 'written'}: {error.strerror or error}"
        drop_output()
    else:
        text = str(error)
    say("\n".join(f"busbox: {line}" for line in text.split("\n")))
    sys.exit(2)
