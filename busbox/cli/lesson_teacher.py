"""The options of ``busbox lesson`` for a teacher: a page, sheets for paper, a guide, a kit."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

import click
from click.core import ParameterSource

from busbox.basics.errors import InputError
from busbox.cli import completing

#: Name of an option that does something of its own to those that may stand beside it.
_BESIDE = {
    "page": ("seeds", "words"),
    "sheets": ("seeds", "words"),
    "guide": ("words",),
    "kit": ("platform", "python"),
}
_OPTIONS = (
    click.option(
        "--page",
        metavar="FILE.html",
        shell_complete=completing.files,
        help="Write the lessons and a decoder to play with as one page, to be opened offline.",
    ),
    click.option(
        "--sheets",
        metavar="DIR",
        shell_complete=completing.folders,
        help="Write sheets for paper into DIR, one for each student, and the answers: of "
        "LESSON, or of 'all'.",
    ),
    click.option(
        "--seeds",
        metavar="FROM..TO",
        help="For --sheets: the students, such as 1..30; for --page: the variants of each lesson.",
    ),
    click.option(
        "--guide",
        is_flag=True,
        help="Show the teacher's guide of LESSON, or of 'all': minutes, misconceptions, questions.",
    ),
    click.option(
        "--kit",
        metavar="DIR",
        shell_complete=completing.folders,
        help="Collect wheels and a start script in DIR, for computers without a network.",
    ),
    click.option(
        "--for",
        "platform",
        metavar="NAME",
        help="For --kit: windows-x64, linux-x64, macos-arm64 or macos-x64.",
    ),
    click.option(
        "--python",
        metavar="3.N",
        help="For --kit: the Python of those computers [default: this one].",
    ),
)


def teacher_options(function: Callable[..., int]) -> Callable[..., int]:
    """Add the options for a teacher to the verb; without them it is called as it is."""

    @functools.wraps(function)
    def called(
        *,
        page: str | None,
        sheets: str | None,
        seeds: str | None,
        guide: bool,
        kit: str | None,
        platform: str | None,
        python: str | None,
        **others: Any,
    ) -> int:
        for name in _BESIDE:
            if _given(name):
                _refuse_others(name)
        if page is not None:
            from busbox.cli.lesson_page import make as make_page

            return make_page(others["words"], seeds, page)
        if sheets is not None:
            from busbox.cli.lesson_sheets import make as make_sheets

            return make_sheets(others["words"], seeds, sheets)
        if guide:
            from busbox.cli.lesson_guide import show_guide

            return show_guide(others["words"])
        if kit is not None:
            from busbox.cli.lesson_kit import make as make_kit

            return make_kit(kit, platform, python)
        for name, wanted in (
            ("seeds", "--sheets or --page"),
            ("platform", "--kit"),
            ("python", "--kit"),
        ):
            if _given(name):
                raise InputError.of(f"needs {wanted}", _option(name))
        return function(**others)

    for option in reversed(_OPTIONS):
        called = option(called)
    return called


def _given(name: str) -> bool:
    source = click.get_current_context().get_parameter_source(name)
    return source is not ParameterSource.DEFAULT


def _option(name: str) -> str:
    params = click.get_current_context().command.params
    one = next(param for param in params if param.name == name)
    return "a LESSON" if isinstance(one, click.Argument) else one.opts[0]


def _refuse_others(name: str) -> None:
    """Refuse what means nothing beside an option that does something of its own.

    Raises
    ------
    InputError : it is given
    """
    for param in click.get_current_context().command.params:
        assert param.name is not None
        if param.name not in (name, *_BESIDE[name], "help") and _given(param.name):
            raise InputError.of(f"cannot be combined with {_option(param.name)}", _option(name))
