"""The whole bench file: its keys, and what is wrong with them. Loaded late: it needs pydantic."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BeforeValidator, Field, ValidationError

from busbox.basics.errors import format_value, join_or, nearest
from busbox.basics.keys import Key
from busbox.basics.toml_lines import KeyPath
from busbox.basics.units import Span, parse_current, parse_span, without_subject
from busbox.bench.attachments import AttachTable
from busbox.bench.context import Context
from busbox.bench.expectations import ExpectTable
from busbox.bench.fabric import FabricTable
from busbox.bench.inputs import InputTable
from busbox.bench.replies import ReplyTable
from busbox.bench.resets import ResetTable
from busbox.bench.slots import SlotTable
from busbox.bench.sweep import SweepTable
from busbox.bench.table import CLOCK_TEXT, SPAN_TEXT, ClockText, Positive, SpanText, Table
from busbox.bench.wires import WireTable

AnyTable = TypeVar("AnyTable", bound=Table)


#: Cycles that devices are waited for where the bench says nothing: 1 s, but no more than this.
MOST_SETTLE = 1_000_000
#: How long a loop may read one register where the bench says nothing.
SPIN_AFTER = parse_span("100 ms")


class BenchTable(Table):
    """The whole file."""

    clock: Annotated[ClockText, Key("Clock of the whole system.", CLOCK_TEXT, "'16 MHz'")]
    settle: Annotated[
        SpanText | None,
        Key(
            "How long the run goes on after the last step while a device is busy.",
            SPAN_TEXT,
            "'2 ms'",
            "cycles",
            "'1 s', or 1_000_000 if that is less",
        ),
    ] = None
    hang_after: Annotated[
        SpanText,
        Key(
            "How long an access may wait before the run ends as hung.",
            SPAN_TEXT,
            "'1 ms'",
            "cycles",
        ),
    ] = Span(cycles=1_000_000)
    after_reset: Annotated[
        Literal["restart", "continue"],
        Key(
            "What the CPU does after a reset by the board.",
            "'restart' or 'continue'",
            "'continue'",
        ),
    ] = "restart"
    poll_storm: Annotated[
        Positive | None,
        Key(
            "How many reads of one poll are a finding.",
            "a whole number of reads from 1 on",
            "10_000",
            "reads",
            "no limit",
        ),
    ] = None
    stuck_after: Annotated[
        SpanText | None,
        Key(
            "How long an interrupt may stay high with no access to its device.",
            SPAN_TEXT,
            "'1 ms'",
            "cycles",
            "no limit",
        ),
    ] = None
    spin_after: Annotated[
        SpanText,
        Key(
            "How long executed firmware may read one register in a loop without a change.",
            SPAN_TEXT,
            "'1 s'",
            "cycles",
        ),
    ] = SPIN_AFTER
    supply: Annotated[
        Any,
        BeforeValidator(parse_current),
        Key(
            "Current that the supply of the lamps can give.",
            "a number with A, mA or uA",
            "'2 A'",
            default="no limit",
        ),
    ] = None
    firmware: Annotated[
        str | None,
        Key(
            "ELF file of the firmware; busbox why takes the source lines from it.",
            "a string such as 'cabin.elf'",
            "'cabin.elf'",
            default="no source lines",
        ),
    ] = None
    strict: Annotated[
        bool,
        Key("Adds an expectation: no finding. As --strict.", "true or false", "true"),
    ] = False
    rules: Annotated[
        list[Any],
        Key(
            "Further rules of findings: functions in Python files.",
            "a list of strings such as ['bell.py:bell_silent']",
            "['bell.py:bell_silent']",
            default="none",
            item="a string such as 'bell.py:bell_silent'",
        ),
    ] = Field(default_factory=list)
    fabric: FabricTable = Field(default_factory=FabricTable)
    slot: dict[str, SlotTable] = Field(default_factory=dict)
    attach: dict[str, AttachTable] = Field(default_factory=dict)
    profile: dict[str, dict[str, Any]] = Field(default_factory=dict)
    traffic: Any = None
    core: Any = None
    input: list[InputTable] = Field(default_factory=list)
    reset: list[ResetTable] = Field(default_factory=list)
    wire: list[WireTable] = Field(default_factory=list)
    reply: list[ReplyTable] = Field(default_factory=list)
    expect: list[ExpectTable] = Field(default_factory=list)
    variant: dict[str, dict[str, Any]] = Field(default_factory=dict)
    sweep: SweepTable = Field(default_factory=SweepTable)

    def settle_cycles(self, clock_hz: int) -> int:
        """Return for how many cycles devices are waited for (semantics page, rule 20)."""
        if self.settle is None:
            return min(clock_hz, MOST_SETTLE)
        cycles: int = self.settle.in_cycles(clock_hz)
        return cycles

    def check_times(self, context: Context) -> None:
        """Note a time that is no cycle long; without a clock, nothing is sure."""
        if not context.timed:
            return
        for key in ("settle", "hang_after", "stuck_after", "spin_after"):
            span = getattr(self, key)
            if span is not None and span.in_cycles(context.clock_hz) < 1:
                context.mistakes.note((key,), "must be at least one cycle, not 0")


#: The tables of a bench by their keys.
TABLES: dict[str, type[Table]] = {
    "fabric": FabricTable,
    "slot": SlotTable,
    "attach": AttachTable,
    "profile": Table,
    "variant": Table,
    "sweep": SweepTable,
    "input": InputTable,
    "reset": ResetTable,
    "wire": WireTable,
    "reply": ReplyTable,
    "expect": ExpectTable,
}
#: Those that have a name, [slot.NAME], and those that stand in a list, [[input]].
_NAMED = ("slot", "attach", "profile", "variant")
_LISTS = ("input", "reset", "wire", "reply", "expect")


@dataclass(frozen=True)
class Checked:
    """What is good in a bench, and what is not.

    Attributes
    ----------
    tables : the checked keys; what is wrong has been left out, or has its default
    broken : paths of the keys, slots and items that were left out
    mistakes : (path, what is wrong) for every mistake
    left : for each list of tables, the numbers in the bench of those that are left
    """

    tables: BenchTable
    broken: frozenset[KeyPath]
    mistakes: tuple[tuple[KeyPath, str], ...]
    left: Mapping[str, tuple[int, ...]]

    def numbered(self, key: str, tables: Sequence[AnyTable]) -> list[tuple[int, AnyTable]]:
        """Return the tables of a list that are left, each with its number in the bench."""
        return list(zip(self.left[key], tables, strict=True))


def check_keys(data: Mapping[str, Any]) -> Checked:
    """Check the keys of a bench, each on its own."""
    good = {key: _copy(value) for key, value in data.items()}
    mistakes: list[tuple[KeyPath, str]] = []
    broken: set[KeyPath] = set()
    try:
        tables = BenchTable.model_validate(good)
    except ValidationError as error:
        details = error.errors(include_url=False)
        unknown = [tuple(one["loc"]) for one in details if one["type"] == "extra_forbidden"]
        for detail in details:
            path = tuple(detail["loc"])
            broken.add(_left_out(path, detail["type"]))
            if detail["type"] != "missing" or not _misspelt(path, unknown):
                mistakes.append((path, _text(detail["type"], path, detail)))
        tables = BenchTable.model_validate(_without(good, broken))

    def left(key: str) -> tuple[int, ...]:
        given = data.get(key)
        count = len(given) if isinstance(given, list) else 0
        return tuple(number for number in range(count) if (key, number) not in broken)

    return Checked(tables, frozenset(broken), tuple(mistakes), {key: left(key) for key in _LISTS})


def _copy(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    return list(value) if isinstance(value, list) else value


def _left_out(path: KeyPath, kind: str) -> KeyPath:
    """Return what must be left out because of a mistake at ``path``."""
    if kind == "extra_forbidden" or path[0] not in (*_NAMED, *_LISTS):
        return path
    return path[:2]


def _without(keys: dict[str, Any], broken: set[KeyPath]) -> dict[str, Any]:
    """Return the keys without what is broken; a clock there must be."""
    for path in sorted(broken, key=str, reverse=True):
        holder: Any = keys
        for part in path[:-1]:
            holder[part] = holder = _copy(holder[part])
        if isinstance(holder, dict):
            holder.pop(path[-1], None)
    for key in _LISTS:
        if isinstance(keys.get(key), list):
            keys[key] = [
                item for number, item in enumerate(keys[key]) if (key, number) not in broken
            ]
    keys.setdefault("clock", "1 MHz")
    return keys


def _misspelt(path: KeyPath, unknown: Sequence[KeyPath]) -> bool:
    """Return whether the key that is missing is what an unknown key beside it is taken for."""
    known = (_table_of(path)[0] if len(path) > 1 else BenchTable).keys()
    asked = nearest(str(path[-1]), [str(path[-1])])
    return any(
        nearest(str(other[-1]), known) == asked for other in unknown if other[:-1] == path[:-1]
    )


def _table_of(path: KeyPath) -> tuple[type[Table], KeyPath]:
    """Return the table that a path leads into, and the rest of the path in it."""
    first = str(path[0])
    if first not in TABLES:
        return BenchTable, path
    return TABLES[first], path[1:] if first == "fabric" else path[2:]


def _key(path: KeyPath) -> str:
    """Return a key as the tables call it: ``yields_to.*`` for an item of a list."""
    return ".".join("*" if isinstance(part, int) else part for part in path)


def _text(kind: str, path: KeyPath, detail: Any) -> str:
    """Return what is wrong, in words of our own."""
    found, context = detail["input"], detail.get("ctx", {})
    table, rest = _table_of(path)
    match kind:
        case "extra_forbidden":
            name, known = str(path[-1]), (table if len(path) > 1 else BenchTable).keys()
            return f"unknown key {name!r}{nearest(name, known)} (known: {join_or(known)})"
        case "missing":
            return f"must be given, such as {table.declared()[_key(rest)].example}"
        case "literal_error":
            choices = [choice.strip("'") for choice in context["expected"].split(" or ")]
            close = nearest(found, choices) if isinstance(found, str) else ""
            return f"must be {context['expected']}, not {format_value(found)}{close}"
        case "value_error":
            return without_subject(context["error"])
    value = format_value(found)
    if path[-1] in ("base", "size") and type(found) is int:
        value = hex(found)
    return f"must be {_expected(path) or detail['msg']}, not {value}"


def _expected(path: KeyPath) -> str | None:
    """Return what must stand at a path, in words, or None if no table says so."""
    table, rest = _table_of(path)
    if rest:
        name, _, item = _key(rest).partition(".")
        declared = table.declared().get(name)
        if declared is None:
            return None
        return (declared.item or None) if item else declared.kind
    key = str(path[0])
    if key in _NAMED:
        return f"tables, [{key}.NAME]" if len(path) == 1 else f"a table, [{key}.NAME]"
    if key in _LISTS:
        return f"a list of tables, [[{key}]]" if len(path) == 1 else f"a table, [[{key}]]"
    return f"a table, [{key}]"
