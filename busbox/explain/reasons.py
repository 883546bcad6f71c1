"""What the edges of a device's pin depend on, as its declaration says: asked, and checked."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.basics.errors import format_value
from busbox.basics.hooks import calling, refuse, wanted, whole
from busbox.basics.listing import counted
from busbox.basics.phrases import GAP, Phrases
from busbox.device import NO_ACCESS, Past, Reason, Reasons

if TYPE_CHECKING:
    from busbox.recording import IntColumn
    from busbox.system.hardware import Device


def reasons_of(device: Device, pin: str, cycle: int, access: int, past: Past) -> list[Reason]:
    """Return what an edge depends on, apart from its own access.

    Raises
    ------
    HookError : ``because`` raises, or yields something else than reasons
    """
    hook, key = device.model.because, f"slot.{device.name}"
    with calling("its because", key=key, hook=hook):
        reasons: list[Any] = [*hook(device.settings, pin, cycle, access, past)]
    for one in reasons:
        if not (isinstance(one, Reason) and whole(one.access) is not None and _has_texts(one)):
            told = f"its because must yield Reason objects, not {format_value(one)}"
            refuse(told, hook, key)
    return reasons


def _has_texts(reason: Reason) -> bool:
    return isinstance(reason.what, str) and isinstance(reason.register, str)


def all_reasons_of(
    device: Device, pin: str, cycles: IntColumn, accesses: IntColumn, past: Past
) -> list[Reasons]:
    """Return what many edges depend on: their first reasons, their second ones, and so on.

    Raises
    ------
    HookError : ``because_all`` or ``because`` raises, or gives something else than reasons
    """
    hook, key = device.model.because_all, f"slot.{device.name}"
    with calling("its because_all", key=key, hook=hook):
        found: Any = hook(device.settings, pin, cycles, accesses, past)
        found = [*found] if isinstance(found, Iterable) else found
    if found is None:
        edges = zip(cycles.tolist(), accesses.tolist(), strict=True)
        return _in_columns([reasons_of(device, pin, *edge, past) for edge in edges])
    if not isinstance(found, list):
        refuse(f"its {wanted('because_all', 'Reasons, or None', found)}", hook, key)
    for one in found:
        if not _are_reasons(one, len(cycles)):
            told = f"its because_all must return Reasons of {counted(len(cycles), 'edge')} each"
            refuse(f"{told}, not {format_value(one)}", hook, key)
    return [*found]


def _are_reasons(found: Any, count: int) -> bool:
    """Return whether something is the reasons of so many edges."""
    return (
        isinstance(found, Reasons)
        and are_phrases(found.what, count)
        and are_phrases(found.register, count)
        and _are_numbers(found.accesses, (count,))
        and not (count and found.accesses.min() < NO_ACCESS)
    )


def are_phrases(found: Any, count: int) -> bool:
    """Return whether something is so many phrases, whose numbers fill their gaps."""
    if not (isinstance(found, Phrases) and isinstance(found.forms, tuple)):
        return False
    if not all(isinstance(form, str) for form in found.forms):
        return False
    if not (_are_numbers(found.which, (count,)) and _are_numbers(found.numbers, (count, None))):
        return False
    most = max((form.count(GAP) for form in found.forms), default=0)
    inside = not count or (found.which.min() >= 0 and found.which.max() < len(found.forms))
    return bool(inside) and (not count or most <= found.numbers.shape[1])


def _are_numbers(found: Any, shape: tuple[int | None, ...]) -> bool:
    """Return whether something is an array of whole numbers of a shape; None: any length."""
    return (
        isinstance(found, np.ndarray)
        and found.dtype.kind in "iu"
        and len(found.shape) == len(shape)
        and all(want in (None, have) for want, have in zip(shape, found.shape, strict=True))
    )


def _in_columns(edges: Sequence[Sequence[Reason]]) -> list[Reasons]:
    """Return the reasons of edges: all first ones, all second ones, and so on."""
    found, none = [], Reason("", "")
    for place in range(max(map(len, edges), default=0)):
        column = [one[place] if place < len(one) else none for one in edges]
        what, register = (Phrases.of(texts) for texts in zip(
            *((one.what, one.register) for one in column), strict=True))  # fmt: skip
        found.append(Reasons(what, register, np.array([one.access for one in column])))
    return found
