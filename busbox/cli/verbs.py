"""The contract of a verb, and the group of the command line that takes verbs from the registry.

Contract
========
1. A verb is a click command: built in, an entry point of the group ``busbox.verbs``, or
   ``file.py:NAME`` in place of a verb's name.
2. It returns its exit code: None or 0 for success, 1 if it found what it looks for.
3. Input that cannot be used is an InputError: exit code 2, one line per mistake, no traceback. Any
   other error that a verb from outside raises becomes one.
4. The first sentence of its help is listed under ``busbox --help``. A verb from outside is imported for
   that, so its module imports large libraries inside its function.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click
from click.shell_completion import CompletionItem

from busbox.basics.errors import BusboxError, InputError, Mistake, format_value
from busbox.basics.hooks import told
from busbox.plugins import VERBS, described, find, names, plug_ins

#: Heading of the verbs that plug-ins offer.
PLUG_INS = "From plug-ins"
#: Under this name a verb leaves, in ``meta`` of its context, messages on what failed: they are told
#: when all else is shown and written.
FAILURES = "busbox.failures"


def check_verb(name: str, found: Any) -> None:
    """Refuse what is not a verb.

    Raises
    ------
    InputError : it is not a click command
    """
    if not isinstance(found, click.Command):
        raise InputError.of(f"{name!r} must be a click command, not {format_value(found)}")


class Verbs(click.Group):
    """A group whose commands are imported when they are used.

    Parameters
    ----------
    groups : heading to the built-in verbs under it, each with its line of help
    """

    def __init__(self, *args: Any, groups: Mapping[str, Mapping[str, str]], **more: Any) -> None:
        super().__init__(*args, **more)
        self.groups = groups

    def list_commands(self, context: click.Context) -> list[str]:
        """Return the names of all verbs."""
        return list(names(VERBS))

    def get_command(self, context: click.Context, name: str) -> click.Command | None:
        """Return a verb; None if it is an option.

        Raises
        ------
        InputError : there is no such verb
        """
        found: click.Command | None = None if name.startswith("-") else find(VERBS, name)
        return found

    def shell_complete(self, context: click.Context, incomplete: str) -> list[CompletionItem[str]]:
        """Return what a shell offers for the verb; no verb is imported for it."""
        helps = {name: text for verbs in self.groups.values() for name, text in verbs.items()}
        verbs = [
            CompletionItem(name, help=helps.get(name))
            for name in dict.fromkeys([*helps, *names(VERBS)])
            if name.startswith(incomplete)
        ]
        return [*verbs, *click.Command.shell_complete(self, context, incomplete)]

    def invoke(self, context: click.Context) -> Any:
        """Run a verb and return its exit code; tell last what it has left under :data:`FAILURES`."""
        told_before: tuple[Mistake, ...] = ()
        try:
            code = self._code_of(context)
        except InputError as error:
            if FAILURES not in context.meta:
                raise
            told_before = error.mistakes
        failures = [*told_before, *map(Mistake, context.meta.get(FAILURES, ()))]
        if failures:
            raise InputError(failures)
        return code

    def _code_of(self, context: click.Context) -> Any:
        try:
            return super().invoke(context)
        except (BusboxError, click.ClickException, click.exceptions.Exit, click.Abort, OSError):
            raise
        except Exception as error:
            name = context.invoked_subcommand
            if name is None or name in VERBS.built_in:
                raise
            raise InputError.of(f"verb {name} raised {told(error)}") from error

    def format_commands(self, context: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the verbs by group; those of plug-ins have their own group."""
        for group, verbs in self.groups.items():
            with formatter.section(group):
                formatter.write_dl(list(verbs.items()))
        rows = [(name, text) for name, _, text in described(plug_ins(VERBS), help_of)]
        if rows:
            with formatter.section(PLUG_INS):
                formatter.write_dl(rows)


def help_of(command: click.Command) -> str:
    """Return the first sentence of a command's help."""
    return command.get_short_help_str(limit=200)
