"""Changes of a bench: values of the command line, named variants, and traffic that moves along."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.bench.set_values import toml_value

BENCH = """\
clock = "16 MHz"

[slot.levers]
model = "gpio"
base = 0x4000_0000
size = 0x1000

[slot.lamps]
model = "pulse_led"
base = 0x4400_0000
size = 0x1000
lamps = 2

[traffic]
file = "evening.steps"

[variant.slow]
clock = "8 MHz"
"slot.levers.wait" = 3

[variant.slower.slot.levers]
wait = 7

[variant.wrong]
"slot.levers.wat" = 3

[variant.empty]
"slot..wait" = 3
"""
STEPS = """\
write levers.OUT 1
write 0x40000000 3
read 0x40000000 = 3
poll 0x40000000 & 1 == 1 limit 2
read 0x44000004
handler tick on levers.in.0
  write 0x40000000 2
end
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """Return a bench with variants."""
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "evening.steps").write_text(STEPS, encoding="utf-8")
    return Bench.load(tmp_path)


def refused(one: Bench) -> str:
    """Return the message with which a bench is refused."""
    with pytest.raises(InputError) as caught:
        one.system()
    return str(caught.value)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("26..24", "26..24"),
        ("12", 12),
        ("0x4400_0000", 0x4400_0000),
        ("8 MHz", "8 MHz"),
        ("[telegraph]", ["telegraph"]),
        ("[telegraph, lamps]", ["telegraph", "lamps"]),
        ("[1, x]", [1, "x"]),
        ("['a', 'b']", ["a", "b"]),
        ("[[a]]", "[[a]]"),
        ("'12'", "12"),
        ("1\nother = 2", "1\nother = 2"),
    ],
)
def test_a_value_is_toml_or_text(text: str, value: Any) -> None:
    """A value that is no TOML is text, or a list of words in brackets."""
    assert toml_value(text) == value


def test_a_named_variant_changes_what_it_names(bench: Bench) -> None:
    """A variant's keys are changed, whether a dotted key or tables name them; --set comes after it."""
    slow = bench.with_values(["variant=slow"]).system()
    assert (slow.clock_hz, slow.devices[0].slot.wait) == (8_000_000, 3)
    both = bench.with_values(["variant=slow", "variant=slower"]).system()
    assert (both.clock_hz, both.devices[0].slot.wait) == (8_000_000, 7)
    after = bench.with_values({"variant": "slow", "slot.levers.wait": 1}).system()
    assert after.devices[0].slot.wait == 1
    assert bench.system().clock_hz == 16_000_000


def test_a_mistake_in_a_variant_is_told_at_its_line(bench: Bench) -> None:
    """What is wrong in a variant names the line of the variant, and the nearest key."""
    line = BENCH.splitlines().index('"slot.levers.wat" = 3') + 1
    message = refused(bench.with_values(["variant=wrong"]))
    assert f"bench.toml:{line}: slot.levers.wat: unknown key 'wat'; did you mean 'wait'?" in message


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("variant=slo", "there is no variant 'slo'; did you mean 'slow'? (known: slow, slower,"),
        ("variant=3", "there is no variant 3"),
        ("variant=empty", "must be a path of keys such as slot.lamps.wait, not 'slot..wait'"),
    ],
)
def test_a_variant_that_there_is_not_is_refused(bench: Bench, value: str, message: str) -> None:
    """An unknown name, no name and a path with nothing between its dots are refused."""
    with pytest.raises(InputError) as caught:
        bench.with_values([value])
    assert message in str(caught.value)


def test_traffic_by_number_stays_unless_it_is_moved(bench: Bench) -> None:
    """If a base is changed, accesses by number stay, and a note counts them; moved, they follow."""
    moved = bench.with_values(["slot.levers.base=0x50000000"])
    stays = moved.run()
    assert stays.accesses.address.tolist()[:3] == [0x5000_0000, 0x4000_0000, 0x4000_0000]
    note = (
        "levers was moved; 4 steps of the traffic that reached it by number stay at the old address"
    )
    assert any(one.startswith(note) for one in stays.notes)
    along = moved.with_values(["traffic.move=true"])
    run, first = along.run(), bench.run()
    assert run.accesses.address.tolist() == [
        address + 0x1000_0000 if address < 0x4400_0000 else address
        for address in first.accesses.address.tolist()
    ]
    for column in ("start", "end", "data", "lanes", "terminator"):
        assert run.accesses[column].tolist() == first.accesses[column].tolist()
    assert not any("was moved" in note for note in run.notes)


def test_recorded_traffic_moves_along_too(tmp_path: Path) -> None:
    """The columns of a recorded file are moved as its steps are."""
    one = Bench.load("signal_cabin_recorded")
    moved = one.with_values({"slot.lamps.base": 0x5000_0000, "traffic.move": True}).run(
        until=20_000
    )
    first = one.run("python", 20_000)
    inside = first.accesses.slot == 2
    assert inside.any()
    assert moved.accesses.address[inside].min() == 0x5000_0000
    assert moved.accesses.data.tolist() == first.accesses.data.tolist()


def test_whether_traffic_moves_is_true_or_false(bench: Bench) -> None:
    """A number is neither: it is refused, not taken for false."""
    message = refused(bench.with_values(["traffic.move=1"]))
    assert "traffic.move: must be true or false, not 1" in message


@pytest.mark.parametrize(
    ("name", "what"),
    [("signal_cabin", "a program"), ("function", "a function or a source")],
)
def test_traffic_that_holds_its_addresses_is_not_moved(name: str, what: str) -> None:
    """Addresses inside a program or a function cannot be moved, and that is told."""
    if name == "function":
        keys: dict[str, Any] = dict(Bench.load("first_light").keys)
        keys["traffic"] = {"file": "x.py:drive"}
        one = Bench(keys | {"traffic": lambda bus: bus.write(0x4000_0000, 1)})
        one = one.with_values({"slot.levers.base": 0x5000_0000})
        assert one.run().counts["unmapped-access"]
        return
    one = Bench.load(name).with_values({"slot.lamps.base": 0x5000_0000, "traffic.move": True})
    told = f"(--move-traffic); this traffic is {what}, which holds its addresses itself"
    assert told in refused(one)
