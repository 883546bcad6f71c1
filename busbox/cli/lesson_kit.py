"""``busbox lesson --kit``: a folder for computers without a network."""

from __future__ import annotations

from pathlib import Path

from busbox.basics.errors import InputError, join_or
from busbox.basics.listing import counted
from busbox.cli.common import paper
from busbox.cli.lesson_sheets import played, seeds_of
from busbox.kit.making import make_kit
from busbox.kit.platforms import PLATFORMS
from busbox.lessons.finding import lessons

#: The page of the lessons in a kit: it needs a browser only.
PAGE = "lessons.html"


def _page() -> dict[str, bytes]:
    """Return the page of all lessons, as ``busbox lesson --page`` writes it."""
    from busbox.cli.lesson_page import SEEDS
    from busbox.lessons.page import lesson_page

    variants = [[played(lesson, seed) for seed in seeds_of(SEEDS)] for lesson in lessons()]
    return {PAGE: lesson_page(variants, "").encode()}


def make(folder: str, platform: str | None, python: str | None) -> int:
    """Make a kit and say what is in it.

    Raises
    ------
    InputError : it cannot be made
    """
    if platform is None:
        raise InputError.of(f"needs --for, which is {join_or(PLATFORMS)}", "--kit")
    made = make_kit(Path(folder), platform, python, _page)
    page = paper()
    wheels = counted(len(made.wheels), "wheel")
    page.line(
        f"{folder}: {wheels}, {made.size / 10**6:.1f} MB, {made.script}, {PAGE}, README.txt", hang=2
    )
    page.line(
        f"Copy the folder to a computer and start {made.script}; README.txt says more.", hang=2
    )
    page.print()
    return 0
