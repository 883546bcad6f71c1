"""``busbox lesson --page``: the lessons and a decoder to play with, as one file for a browser."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from busbox.basics.errors import InputError
from busbox.basics.files import replace_file
from busbox.basics.listing import counted
from busbox.cli.lesson_sheets import ALL, lessons_named, played, seeds_of
from busbox.cli.writes import no_page

#: Variants of each lesson on the page, if no others are asked for.
SEEDS = "1..30"
#: A page is below this, so that it can be sent and opened anywhere.
MOST_BYTES = 1_000_000


def make(words: Sequence[str], seeds: str | None, file: str) -> int:
    """Write the page of all lessons, or of one.

    Raises
    ------
    InputError : a word or an option is wrong, or the page would be too large
    """
    from busbox.lessons.page import lesson_page

    chosen = lessons_named(words or (ALL,), "--page")
    wanted = seeds_of(seeds or SEEDS)
    if problem := no_page(file):
        raise InputError.of(problem, "--page")
    own = Path(words[0]).name if words and words[0].endswith(".py") else ""
    variants = [[played(lesson, seed) for seed in wanted] for lesson in chosen]
    page = lesson_page(variants, own).encode()
    if len(page) >= MOST_BYTES:
        text = f"would be {len(page):,} bytes, more than {MOST_BYTES:,}; ask for fewer --seeds"
        raise InputError.of(text, "--page")
    replace_file(Path(file), page)
    what = f"{counted(len(chosen), 'lesson')}, {counted(len(wanted), 'variant')} of each"
    click.echo(f"{file}: {what}, {len(page):,} bytes")
    click.echo("Open it in a browser; it needs no network.")
    return 0
