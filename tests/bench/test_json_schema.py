"""``busbox schema``: what editors check a bench file with.

The validator is *jsonschema*, an implementation of JSON Schema that shares no code with Busbox.
"""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft7Validator

import busbox
from busbox.bench.find import packaged_benches, packaged_sets
from busbox.bench.json_schema import FILE, bench_schema, schema_text
from tests.bench.test_keys import KEYS, NOT_BUILT, _id, bench, folder, with_example

pytestmark = pytest.mark.quick

SCHEMA = bench_schema()
VALIDATOR = Draft7Validator(SCHEMA)
__all__ = ["folder"]  # the fixture

SHIPPED = [
    *packaged_benches().values(),
    *(file for place in packaged_sets().values() for file in sorted(place.glob("*/bench.toml"))),
]


def refused(keys: Any) -> list[str]:
    """Return what the schema says against a bench."""
    return [error.message for error in VALIDATOR.iter_errors(keys)]


def test_it_is_a_schema_of_its_draft() -> None:
    """The schema is one by the meta-schema of the draft that it names (json-schema.org, draft 7)."""
    Draft7Validator.check_schema(SCHEMA)
    assert SCHEMA["$schema"] == "http://json-schema.org/draft-07/schema#"


def test_the_shipped_copy_is_what_the_command_prints() -> None:
    """The file that the shipped benches name is the schema of what comes with Busbox."""
    shipped = packaged_benches()["first_light"].parent.parent / FILE
    assert shipped.read_text(encoding="utf-8") == schema_text(bench_schema(plug_ins=False))


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.parent.name)
def test_every_shipped_bench_names_it_and_is_valid(file: Path) -> None:
    """The first line of each bench leads to the schema, and the bench is valid by it."""
    text = file.read_text(encoding="utf-8")
    mark, name = text.split("\n", 1)[0].split(" ")
    assert mark == "#:schema"
    shipped = packaged_benches()["first_light"].parent.parent / FILE
    assert (file.parent / name).resolve() == shipped.resolve()
    assert refused(tomllib.loads(text)) == []


@pytest.mark.parametrize("key", [key for key in KEYS if _id(key) not in NOT_BUILT], ids=_id)
def test_the_example_of_every_key_is_valid(key: Any) -> None:
    """The schema accepts the bench that is built from the example of each key."""
    keys = with_example(key)
    if isinstance(keys["traffic"], list):  # steps from Python, in place of a file
        keys["traffic"] = {"file": "cabin.steps"}
    assert refused(keys) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("clok",), "16 MHz"),
        (("clock",), 16_000_000),
        (("clock",), "16 megahertz"),
        (("slot", "lamps", "model"), "puls_led"),
        (("slot", "lamps", "base"), "0x40002000"),
        (("slot", "lamps", "base"), -4096),
        (("slot", "lamps", "lamp"), 8),
        (("slot", "lamps", "lamps"), 0),
        (("slot", "lamps", "as"), "gateware"),
        (("slot", "telegraph", "wait"), 65_536),
        (("fabric",), {"watchdg": 9}),
        (("attach",), {"paper": {"kind": "terminal", "pin": "telegraph.tx", "bauds": 9600}}),
        (("input",), [{"pin": "levers.in.0", "level": 1}]),
        (("input",), [{"at": "5 us", "pin": "levers.in.0", "level": 2}]),
        (("expect",), [{"text": {"of": "telegraph", "has": "A"}}]),
        (("expect",), [{"frames": {"of": "lamps"}}]),
        (("expect",), [{"colours": {"of": "lamps", "are": ["4000"]}}]),
        (("profile",), {"ours": {"zero_high": ["220 ns", "380 ns"]}}),
        (("traffic",), {"fil": "cabin.steps"}),
        (("supply",), "2 V"),
        (("settle",), "-1 ms"),
    ],
    ids=repr,
)
def test_a_typical_mistake_is_refused_by_schema_and_check(
    path: tuple[str, ...], value: object, folder: Path
) -> None:
    """What the check refuses for one key alone, an editor marks while it is typed."""
    keys = bench()
    node = keys
    for name in path[:-1]:
        node = node[name]
    node[path[-1]] = value
    assert refused(keys) != []
    with pytest.raises(busbox.InputError):
        busbox.Bench(keys, folder=folder).system()


#: Values of every kind that a bench file can hold.
VALUES = st.one_of(
    st.integers(-2, 70_000), st.booleans(), st.floats(-2, 1e6),
    st.sampled_from(
        ["", "16 MHz", "1_000 kHz", "2 ms", " 7 ", "12", "20 mA", "31..12", "full", "range", "model",
         "hardware", "gpio", "uart", "timer", "levers.in.0", "levers.out.0", "telegraph.tx", "levers",
         "telegraph", "cabin.steps", "bell.py:bell_silent", "error", "silence", "restart", "GRB",
         "8N1", 0x4000_0000, 0x5000_0000, 0x1000, 1 << 32, [], ["levers"], [65, 66], [256], {}],
    ),
)  # fmt: skip
PATHS = [
    ("clock",), ("strict",), ("settle",), ("hang_after",), ("after_reset",), ("poll_storm",),
    ("stuck_after",), ("supply",), ("firmware",), ("rules",), ("fabric", "unanswered"),
    ("fabric", "watchdog"), ("fabric", "registered_decode"), ("slot", "levers", "model"),
    ("slot", "levers", "base"), ("slot", "levers", "size"), ("slot", "levers", "compare"),
    ("slot", "levers", "decode"), ("slot", "levers", "wait"), ("slot", "levers", "yields_to"),
    ("slot", "levers", "as"), ("slot", "levers", "width"), ("slot", "telegraph", "baud"),
    ("slot", "telegraph", "divisor"), ("slot", "lamps", "order"), ("slot", "lamps", "channels"),
    ("slot", "lamps", "lamps"), ("traffic", "file"), ("traffic", "format"), ("input", 0, "at"),
    ("input", 0, "pin"), ("input", 0, "level"), ("input", 0, "bytes"), ("input", 0, "rate"),
    ("input", 0, "spacing"), ("reset", 0, "at"), ("reset", 0, "length"), ("wire", 0, "from"),
    ("wire", 0, "to"), ("reply", 0, "of"), ("reply", 0, "after_text"), ("reply", 0, "send"),
    ("reply", 0, "delay"), ("reply", 0, "rate"), ("attach", "paper", "kind"),
    ("attach", "paper", "pin"), ("attach", "paper", "baud"), ("attach", "paper", "format"),
    ("expect", 0, "text", "is"), ("expect", 0, "text", "of"), ("expect", 1, "level", "pin"),
    ("expect", 1, "level", "at"), ("expect", 1, "level", "is"), ("expect", 2, "register", "is"),
]  # fmt: skip


def full() -> dict[str, Any]:
    """Return a bench with most tables."""
    return bench() | {
        "fabric": {},
        "input": [{"at": "5 us", "pin": "levers.in.0", "level": 1}],
        "reset": [{"at": "40 us"}],
        "wire": [{"from": "levers.out.1", "to": "levers.in.3"}],
        "reply": [{"of": "telegraph", "after_text": "ready?", "send": "yes"}],
        "attach": {"paper": {"kind": "terminal", "pin": "telegraph.tx"}},
        "expect": [
            {"text": {"of": "telegraph", "is": ""}},
            {"level": {"pin": "levers.out.0", "is": 1}},
            {"register": {"of": "levers.OUT", "is": 1}},
        ],
    }


@settings(
    max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    changes=st.dictionaries(st.sampled_from(PATHS), VALUES, min_size=1, max_size=3),
    data=st.data(),
)
def test_what_the_check_accepts_the_schema_accepts(
    changes: dict[tuple[Any, ...], Any], data: st.DataObject, folder: Path
) -> None:
    """An editor marks no bench that runs: whatever the check of a bench accepts, the schema does."""
    keys = copy.deepcopy(full())
    for path, value in changes.items():
        node: Any = keys
        for name in path[:-1]:
            node = node[name]
        node[path[-1]] = value
    for path in data.draw(st.lists(st.sampled_from(PATHS), max_size=2)):
        node = keys
        for name in path[:-1]:
            node = node[name]
        node.pop(path[-1], None)
    try:
        busbox.Bench(keys, folder=folder, file=folder / "bench.toml").system()
    except busbox.InputError:
        return
    assert refused(keys) == []
