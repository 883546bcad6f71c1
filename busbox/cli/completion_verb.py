"""``busbox completion``."""

from __future__ import annotations

import click

from busbox.basics.errors import InputError, join_or, nearest
from busbox.cli.completing import SHELLS, offers


@click.command("completion")
@click.argument("shell", shell_complete=offers(lambda context, incomplete: SHELLS))
def command(shell: str) -> int:
    """Print a script that adds command-line completion to a shell.

    SHELL is bash, zsh, fish or powershell; it completes verbs,
    options, benches, slots, pins and rules. To load it in every new shell, add one line to the
    startup file of the shell:

    \b
    bash, ~/.bashrc:
      source <(busbox completion bash)
    zsh, ~/.zshrc, after compinit:
      source <(busbox completion zsh)
    fish, ~/.config/fish/config.fish:
      busbox completion fish | source
    powershell, $PROFILE:
      busbox completion powershell | Out-String | iex
    """
    from busbox.cli.shells import script

    if shell not in SHELLS:
        text = (
            f"there is no script for {shell!r}{nearest(shell, SHELLS)} (known: {join_or(SHELLS)})"
        )
        raise InputError.of(text, "completion")
    click.echo(script(shell, click.get_current_context().find_root().command), nl=False)
    return 0
