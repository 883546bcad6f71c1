"""``[attach.NAME]``: what hangs on a pin."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Annotated, Any

from pydantic import ConfigDict

from busbox.basics.errors import format_value
from busbox.basics.hooks import HookError, calling, is_added, where_raised, whole
from busbox.basics.keys import Key
from busbox.basics.toml_lines import KeyPath
from busbox.bench.context import Context
from busbox.bench.pins import Pins
from busbox.bench.profiles import build_profiles
from busbox.bench.settings import check_settings, find_class
from busbox.bench.table import Table
from busbox.board.attachment import Board, Driver
from busbox.plugins import ATTACHMENTS
from busbox.system.hardware import Device
from busbox.system.scenario import Attached, InputLevel

#: Levels that a driver may give in one run.
MOST_LEVELS = 1_000_000
#: Later than any cycle of a run.
NEVER = 1 << 62


class AttachTable(Table):
    """``[attach.NAME]``; what is not named here is a setting of the kind."""

    model_config = ConfigDict(extra="allow", strict=True, arbitrary_types_allowed=True)

    kind: Annotated[
        Any,
        Key(
            "What is attached: a kind by its name, or a class in a Python file.",
            "the name of a kind, or 'file.py:Class'",
            "'lamp_string'",
        ),
    ]
    pin: Annotated[
        str,
        Key(
            "The pin that it is attached to.",
            "a string such as 'lamps.line'",
            "'lamps.line'",
        ),
    ]

    def build(self, name: str, board: Board, pins: Pins, context: Context) -> Attached | None:
        """Return the attachment in its place, or None if a mistake keeps it out."""
        note, path = context.mistakes.note, ("attach", name)
        before = len(context.mistakes)
        context.check_name(path, name, "an attachment")
        if name in context.slots:
            note(path, f"the name {name!r} is taken by a slot; choose another")
        kind = self._kind((*path, "kind"), context)
        if kind is None:
            return None
        settings = check_settings(path, kind, self.model_extra or {}, self.keys(), context)
        direction = "input" if issubclass(kind, Driver) else None
        where = pins.find((*path, "pin"), self.pin, direction)
        if where is None or len(context.mistakes) > before:
            return None
        try:
            with calling("it", hook=kind, refusing=True):
                part = kind(board, **settings)
        except HookError as error:
            note((*path, "kind"), str(error))
            return None
        except ValueError as error:
            note(path, f"{error}{where_raised(error, kind) if is_added(kind) else ''}")
            return None
        label = self.kind if isinstance(self.kind, str) else kind.__name__
        return Attached(name, label, *where, part)

    def _kind(self, path: KeyPath, context: Context) -> Any:
        keys = self.keys()
        kind = find_class(path, self.kind, context, ATTACHMENTS, "lamp_string")
        taken = [] if kind is None else [one.name for one in kind.settings if one.name in keys]
        if taken:
            text = f"its setting {taken[0]!r} has the name of a key of [attach.NAME]"
            context.mistakes.note(path, text)
            return None
        return kind


def build_attached(
    tables: Mapping[str, AttachTable],
    profiles: Mapping[str, Mapping[str, Any]],
    pins: Pins,
    context: Context,
) -> tuple[Attached, ...]:
    """Return what is attached; nothing if a profile has a mistake."""
    before = len(context.mistakes)
    board = Board(context.clock_hz, build_profiles(profiles, context))
    if len(context.mistakes) > before:
        return ()
    found = [table.build(name, board, pins, context) for name, table in tables.items()]
    return tuple(attached for attached in found if attached is not None)


def check_drivers(attached: Iterable[Attached], devices: Sequence[Device], pins: Pins) -> None:
    """Note every attachment that drives a pin which something else drives already."""
    for one in attached:
        if isinstance(one.part, Driver):
            pins.drive(("attach", one.name, "pin"), f"{devices[one.device].name}.{one.pin}")


def driven(attached: Iterable[Attached], context: Context) -> Iterator[InputLevel]:
    """Yield the levels that drivers give to input pins."""
    for one in attached:
        if not isinstance(one.part, Driver):
            continue
        try:
            with calling("its drive", hook=one.part.drive, refusing=True):
                levels = _levels(one, one.part)
        except HookError as error:
            context.mistakes.note(("attach", one.name), str(error))
        except ValueError as error:
            place = where_raised(error, one.part.drive) if is_added(one.part) else ""
            context.mistakes.note(("attach", one.name), f"{error}{place}")
        else:
            yield from levels


def _levels(one: Attached, part: Driver) -> list[InputLevel]:
    """Return the levels of a driver.

    Raises
    ------
    ValueError : they are no levels, or not in order
    """
    found: list[InputLevel] = []
    for cycle, level in part.drive():
        if whole(level) not in (0, 1):
            raise ValueError(f"its drive must give levels of 0 or 1, not {format_value(level)}")
        at = whole(cycle)
        if at is None or at < 0 or (found and at <= found[-1].cycle):
            raise ValueError(
                f"its drive must give cycles that increase from 0 on, not {format_value(cycle)}"
            )
        if at >= NEVER:
            raise ValueError(f"its drive must give cycles before {NEVER:,}, not {at:,}")
        if len(found) == MOST_LEVELS:
            raise ValueError(
                f"its drive must end: it gave more than {MOST_LEVELS:,} levels, the most that is taken"
            )
        found.append(InputLevel(at, one.device, one.pin, int(level)))
    return found
