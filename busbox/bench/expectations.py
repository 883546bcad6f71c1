"""``[[expect]]``: what must hold after a run."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, ClassVar

from pydantic import Field

from busbox.bench.context import Context
from busbox.bench.table import Table
from busbox.system.hardware import Device
from busbox.system.scenario import Attached

if TYPE_CHECKING:
    from busbox.findings.expectations import Expectation


class ExpectTable(Table):
    """``[[expect]]``: one of these."""

    text: dict[str, Any] | None = None
    level: dict[str, Any] | None = None
    frames: dict[str, Any] | None = None
    colours: dict[str, Any] | None = None
    findings: dict[str, Any] | None = None
    register_: dict[str, Any] | None = Field(default=None, alias="register")

    expected: ClassVar[Mapping[str, str]] = dict.fromkeys(
        ("text", "level", "frames", "colours", "findings", "register"),
        'a table such as { of = "lamps", at_least = 1 }',
    )

    def build(
        self,
        number: int,
        devices: Sequence[Device],
        attached: Sequence[Attached],
        rules: Sequence[str] | None,
        context: Context,
    ) -> Expectation | None:
        """Return the expectation, or None if a mistake keeps it out.

        ``rules`` are the ids that the bench knows, or None if that is open.
        """
        from busbox.findings.expectations import ExpectationError, parse_expectation

        try:
            given = self.model_dump(by_alias=True)
            return parse_expectation(given, devices, attached, context.clock_hz, rules)
        except ExpectationError as error:
            known = {device.name for device in devices} | {one.name for one in attached}
            # Without its one key, the table may be about what an unknown key was meant to be.
            told = not error.path and context.mistakes.inside(("expect", number))
            if not told and not self._names_broken(known, context):
                context.mistakes.note(("expect", number, *error.path), str(error))
            return None

    def _names_broken(self, known: set[str], context: Context) -> bool:
        """Return whether it is about something whose mistakes are told already."""
        ways = [way for way in self.model_dump().values() if isinstance(way, dict)]
        asked = [text.partition(".")[0] for way in ways for text in way.values()
                 if isinstance(text, str)]  # fmt: skip
        names = (*context.slots, *context.attachments)
        return any(name in names and name not in known for name in asked)
