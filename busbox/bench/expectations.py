"""``[[expect]]``: what must hold after a run."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field

from busbox.basics.keys import Key
from busbox.bench.context import Context
from busbox.bench.table import Table
from busbox.system.hardware import Device
from busbox.system.scenario import Attached

if TYPE_CHECKING:
    from busbox.findings.expectations import Expectation


_EXPECTED = 'a table such as { of = "lamps", at_least = 1 }'


class ExpectTable(Table):
    """``[[expect]]``: one of these."""

    text: Annotated[
        dict[str, Any] | None,
        Key(
            "The text that a slot sends or an attachment reads.",
            _EXPECTED,
            '{ of = "telegraph", contains = "ready" }',
        ),
    ] = None
    level: Annotated[
        dict[str, Any] | None,
        Key(
            "The level of a pin.",
            _EXPECTED,
            '{ pin = "levers.out.0", at = "2 ms", is = 1 }',
        ),
    ] = None
    frames: Annotated[
        dict[str, Any] | None,
        Key(
            "How many frames a slot sends or lamps show.",
            _EXPECTED,
            '{ of = "lamps", at_least = 1 }',
        ),
    ] = None
    colours: Annotated[
        dict[str, Any] | None,
        Key(
            "The colours of a frame.",
            _EXPECTED,
            '{ of = "lamps", frame = -1, are = ["400000", "004000"] }',
        ),
    ] = None
    findings: Annotated[
        dict[str, Any] | None,
        Key(
            "How often a rule finds something.",
            _EXPECTED,
            '{ rule = "byte-lost", exactly = 0 }',
        ),
    ] = None
    register_: Annotated[
        dict[str, Any] | None,
        Key(
            "The word of a register at the end.",
            _EXPECTED,
            '{ of = "lamps.COUNT", is = 8 }',
        ),
    ] = Field(default=None, alias="register")
    cycles: Annotated[
        dict[str, Any] | None,
        Key(
            "How many cycles the accesses occupy the bus.",
            _EXPECTED,
            '{ of = "levers", at_most = 32 }',
        ),
    ] = None
    errors: Annotated[
        dict[str, Any] | None,
        Key(
            "How many accesses end with ERR.",
            _EXPECTED,
            "{ exactly = 0 }",
        ),
    ] = None
    answered: Annotated[
        dict[str, Any] | None,
        Key(
            "Who answers the accesses to an address.",
            _EXPECTED,
            '{ address = 0x4000_1004, by = "telegraph" }',
        ),
    ] = None

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
            reported = not error.path and context.mistakes.inside(("expect", number))
            if not reported and not self._names_broken(known, context):
                context.mistakes.note(("expect", number, *error.path), str(error))
            return None

    def _names_broken(self, known: set[str], context: Context) -> bool:
        """Return whether it names something whose mistakes are already reported."""
        ways = [way for way in self.model_dump().values() if isinstance(way, dict)]
        asked = [text.partition(".")[0] for way in ways for text in way.values()
                 if isinstance(text, str)]  # fmt: skip
        names = (*context.slots, *context.attachments)
        return any(name in names and name not in known for name in asked)
