"""``busbox lesson``."""

from __future__ import annotations

from pathlib import Path

import click

from busbox.basics.errors import InputError
from busbox.cli.common import number_of
from busbox.cli.lesson_teacher import teacher_options


@click.command("lesson")
@click.argument("words", metavar="[LESSON [ANSWER...]]", nargs=-1)
@click.option(
    "--seed", metavar="N", help="Which variant: each N gives the task other values (default 1)."
)
@click.option(
    "--answer",
    metavar="FILE",
    help="Check the answer in a file: a line NAME = VALUE, or #define NAME VALUE, for each part.",
)
@click.option("--code", metavar="CODE", help="Check the answer that a code from the page carries.")
@click.option(
    "--progress",
    metavar="FILE",
    help="Where checks are noted, one line each (default lesson_progress.txt, in this folder).",
)
@click.option(
    "--collect",
    is_flag=True,
    help="Show the table of a class: the words are files of progress, one for each student.",
)
@teacher_options
def command(
    words: tuple[str, ...],
    seed: str | None,
    answer: str | None,
    code: str | None,
    progress: str | None,
    collect: bool,
) -> int:
    """Learn address decoding: list the lessons, show one, or check an answer.

    LESSON is a number, or a Python file with a lesson of your own. With ANSWER, the parts of the
    answer in order, or as NAME=VALUE, a bench is run with it: exit code 0 if it passes, 1 if not
    yet, 2 if it is not readable. Each try that does not pass gives a hint; the third one the
    worked solution.
    """
    from busbox.cli import lesson_class, lesson_shown
    from busbox.lessons.progress import FILE

    given = {"--seed": seed, "--answer": answer, "--code": code, "--progress": progress}
    if collect:
        refuse(given, "--collect")
        return lesson_class.collect([Path(word) for word in words])
    noted = Path(progress or FILE)
    if code is not None:
        refuse(
            {"--seed": seed, "--answer": answer, "a LESSON": words[0] if words else None}, "--code"
        )
        return lesson_shown.check_code(code, noted)
    if not words:
        refuse({"--seed": seed, "--answer": answer}, "the list of lessons")
        return lesson_shown.show_list(noted)
    number = number_of(seed, "--seed", 1) if seed is not None else 1
    if answer is not None and words[1:]:
        raise InputError.of("cannot be combined with an answer in words; give only one", "--answer")
    if answer is not None:
        return lesson_shown.check_file(words[0], number, Path(answer), noted)
    if words[1:]:
        return lesson_shown.check_words(words[0], number, words[1:], noted)
    return lesson_shown.show_task(words[0], number, noted)


def refuse(given: dict[str, str | None], what: str) -> None:
    """Refuse options and words that mean nothing beside another one.

    Raises
    ------
    InputError : one of them is given
    """
    for name, value in given.items():
        if value is not None:
            raise InputError.of(f"cannot be combined with {name}", what)
