"""The shells that complete: click's classes, and what bash and zsh need in addition."""

from __future__ import annotations

from typing import Any, ClassVar

import click
from click.shell_completion import (
    BashComplete,
    CompletionItem,
    ShellComplete,
    ZshComplete,
    add_completion_class,
    get_completion_class,
)

from busbox.cli.completing import SHELLS

#: The variable in which a script says what it wants.
VARIABLE = "_BUSBOX_COMPLETE"

#: After a word that ends in one of = @ . / the same word goes on, so no space follows it.
_BASH = """\
%(complete_func)s() {
    local IFS=$'\\n' completion type value
    for completion in $(env COMP_WORDS="${COMP_WORDS[*]}" COMP_CWORD=$COMP_CWORD \\
            %(complete_var)s=bash_complete "$1" 2>/dev/null); do
        type=${completion%%%%,*} value=${completion#*,}
        case $type in
            dir) compopt -o dirnames ;;
            file) compopt -o default ;;
            plain)
                COMPREPLY+=("$value")
                if [[ $value == *[=@./] ]]; then compopt -o nospace; fi ;;
        esac
    done
}

complete -o nosort -F %(complete_func)s %(prog_name)s
"""

_ZSH_ADDS = "compadd -U -V unsorted -a completions"
_ZSH = f"""\
local -a going_on=(${{(M)completions:#*[=@./]}})
        completions=(${{completions:#*[=@./]}})
        compadd -U -S '' -V unsorted -a going_on
        {_ZSH_ADDS}"""


@add_completion_class
class Bash(BashComplete):
    """Bash ends words at = : and @ too; here they are one word, as they are for Busbox."""

    source_template: ClassVar[str] = _BASH
    _before = ""

    def get_completion_args(self) -> tuple[list[str], str]:
        """Return the words before the one that is completed, and that one so far."""
        args, incomplete = super().get_completion_args()
        words: list[str] = []
        goes_on = False
        for word in (*args, incomplete):
            ends = word in ("=", ":", "@")
            if words and (ends or goes_on):
                words[-1] += word
            else:
                words.append(word)
            goes_on = ends
        last = words.pop() if words else ""
        end = max(last.rfind(mark) for mark in "=:@")
        self._before = last[: end + 1]
        return words, last

    def format_completion(self, item: CompletionItem[Any]) -> str:
        """Return a line for the script; what stands before the last = : or @ is not replaced."""
        return f"{item.type},{item.value.removeprefix(self._before)}"


@add_completion_class
class Zsh(ZshComplete):
    """Zsh adds a space to every word, unless it is asked not to."""

    source_template: ClassVar[str] = ZshComplete.source_template.replace(_ZSH_ADDS, _ZSH)


def class_of(shell: str) -> type[ShellComplete]:
    """Return what completes for one of the shells."""
    found = get_completion_class(shell)
    assert found is not None, shell
    return found


def script(shell: str, command: click.Command) -> str:
    """Return the script that makes a shell complete the words of ``busbox``."""
    return class_of(shell)(command, {}, "busbox", VARIABLE).source()


def answer(instruction: str, command: click.Command) -> str:
    """Return what a script wants, which says it as ``bash_complete``; "" if nothing is known."""
    shell, _, wanted = instruction.partition("_")
    if shell not in SHELLS or wanted != "complete":
        return ""
    try:
        return class_of(shell)(command, {}, "busbox", VARIABLE).complete()
    except (Exception, SystemExit):
        return ""
