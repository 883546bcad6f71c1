"""Names of kept words, and what an until subtracts, as formats of text have them."""

from __future__ import annotations

from busbox.basics.errors import InputError
from busbox.cpu.steps import AccessStep, Poll, Step, Until
from busbox.map.addresses import kept_name, number


def read_since(text: str) -> int | str:
    """Return what is subtracted: a word, or the name of a kept one.

    Raises
    ------
    ValueError : it is neither
    """
    return number(text, "a word") if text[:1].isdigit() else kept_name(text)


def shown_since(step: Until) -> str:
    """Return what an until subtracts, as text."""
    return step.since if isinstance(step.since, str) else f"{step.since:#x}"


def check_kept(step: Step, count: int) -> None:
    """Refuse names that cannot be read back.

    Parameters
    ----------
    count : the number of the step, for messages

    Raises
    ------
    InputError : a name is not one, or a write keeps a word
    """
    if not isinstance(step, AccessStep | Poll):
        return
    if isinstance(step, AccessStep) and step.write and step.keep is not None:
        raise InputError.of(f"step {count}: a write keeps no word, not {step.keep!r}")
    since = step.since if isinstance(step, Until) else None
    for name in (step.keep, since if isinstance(since, str) else None):
        if name is not None:
            try:
                kept_name(name)
            except ValueError as error:
                raise InputError.of(f"step {count}: {error}") from None
