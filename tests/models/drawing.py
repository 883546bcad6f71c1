"""What a device's folder says of it for tests that draw: ``drawn.py`` names ``DRAWN``, ``STEPPED``."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from hypothesis import strategies as st

#: (what, value): an input pin and its level, or an offset and the word that is written.
Act = tuple[int | str, int]


@dataclass(frozen=True)
class Drawn:
    """A device in a drawn plan (tests/plans.py).

    Attributes
    ----------
    offsets : worth drawing, one of them as often as it stands here; one is a hole
    size : of its slot
    settings : draws settings of the model
    outputs, inputs : pins worth wiring
    driven : draws the input pin that the board drives, for given settings; None if it has none
    model : the model, if its folder's name does not stand for it
    """

    offsets: tuple[int, ...]
    size: int
    settings: st.SearchStrategy[dict[str, Any]] = st.just({})  # noqa: RUF009  (it never changes)
    outputs: tuple[str, ...] = ()
    inputs: tuple[str, ...] = ()
    driven: Callable[[Mapping[str, Any]], st.SearchStrategy[str]] | None = None
    model: type | None = None


@dataclass(frozen=True)
class Stepped:
    """A model that tests step by themselves, through the contract.

    Attributes
    ----------
    model, settings : what is built
    act : draws an access or an input, for the cycles since the last reset
    reads : offsets that are read
    cacheable : those of whose word the model says until when it stays
    next_edges : (cycle and act of some calls, cycle, what ``next_edge`` must answer then)
    """

    model: type
    settings: Mapping[str, Any]
    act: Callable[[random.Random, int], Act]
    reads: tuple[int, ...]
    cacheable: frozenset[int]
    next_edges: tuple[tuple[tuple[tuple[int, int | str, int], ...], int, int | None], ...]
