"""Bad input that only Python can give: classes, functions, lists of steps, arguments."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from busbox import Bench, InputError
from busbox.cpu.steps import AccessStep, Handler, Mark
from busbox.device import LiveDevice
from busbox.formats.files import write_traffic

KEYS: dict[str, Any] = {
    "clock": "16 MHz",
    "slot": {"levers": {"model": "gpio", "base": 0, "size": 0x1000}},
    "traffic": [],
}


class Hammer:
    """No model."""


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (
            {"slot": {"bell": {"model": Hammer(), "base": 0, "size": 4}}},
            "slot.bell.model: must be a string such as 'gpio', not an instance of "
            "Hammer",
        ),
        ({"traffic": 5}, "traffic: must be a file, a function or a list of steps, not 5"),
        ({"traffic": [Mark("noon"), "read"]}, "traffic: must hold steps only, not 'read'"),
        ({"traffic": lambda: None}, "traffic: must be a function of one argument, the bus"),
        ({"traffic": {"file": None}}, "traffic.file: must be a string such as 'NAME.steps', not None"),
        ({"hang_after": None}, "hang_after: must be a number with s, ms, us, ns or ps, or whole "
         "cycles, not None"),
    ],
)  # fmt: skip
def test_a_bench_made_in_python_tells_its_key(changed: dict[str, Any], told: str) -> None:
    """Each mistake is told with its key; there is no file to tell."""
    with pytest.raises(InputError) as raised:
        Bench(KEYS | changed).run()
    assert str(raised.value) == told


def test_a_class_that_is_no_model_is_told_everything_it_lacks() -> None:
    """What is told is the whole contract: every public member of :class:`busbox.device.LiveDevice`."""
    with pytest.raises(InputError) as raised:
        Bench(KEYS | {"slot": {"bell": {"model": Hammer, "base": 0, "size": 4}}}).run()
    told = str(raised.value)
    found = re.fullmatch(r"slot\.bell\.model: 'Hammer' must be a model: it lacks (.*) \(.*\)", told)
    assert found is not None, told
    members = {*vars(LiveDevice), *LiveDevice.__annotations__} - {"peek"}  # of memories only
    assert set(found[1].split(", ")) == {name for name in members if not name.startswith("_")}


@pytest.mark.parametrize(
    ("run", "told"),
    [
        (lambda bench: bench.run(until=0), "until: must be at least one cycle, not 0"),
        (lambda bench: bench.run(until=True), "until: must be a number with s, ms, us, ns or ps, "
         "or whole cycles, not true"),
        (lambda bench: bench.run(traffic="day.steps"), "traffic: there is no file 'day.steps'"),
        (lambda bench: bench.run(traffic=3.5), "traffic: must be a file, a function or a list of "
         "steps, not 3.5"),
        (lambda bench: bench.run("refrence"), "there is no engine 'refrence'; did you mean "
         "'reference'? (known: "),
    ],
)  # fmt: skip
def test_an_argument_is_told_by_its_name(
    run: Callable[[Bench], object], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is wrong with an argument of run begins with the argument's name."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as raised:
        run(Bench(KEYS))
    assert str(raised.value).startswith(told)


def test_every_mistake_keeps_its_parts() -> None:
    """An error holds each mistake's file, line, key and text as attributes."""
    with pytest.raises(InputError) as raised:
        Bench(KEYS | {"clock": 16, "slots": {}}).run()
    found = [(one.where, one.line, one.key) for one in raised.value.mistakes]
    assert found == [("", None, "clock"), ("", None, "slots")]


@pytest.mark.parametrize("name", ["x" * 300 + ".steps", "nowhere/day.steps", "yard/day.steps"])
def test_traffic_is_written_whole_or_not_at_all(tmp_path: Path, name: str) -> None:
    """A place that cannot be written is told, and nothing is left there."""
    (tmp_path / "yard").write_bytes(b"a file\n")
    with pytest.raises(InputError, match="cannot be written: ") as raised:
        write_traffic(tmp_path / name, [Mark("noon")])
    assert raised.value.mistakes[0].where == str(tmp_path / name)
    assert [one.name for one in tmp_path.rglob("*")] == ["yard"]


def test_what_a_format_cannot_hold_leaves_the_old_file(tmp_path: Path) -> None:
    """A file that was there stays as it was when the steps do not fit its format."""
    file = tmp_path / "day.csv"
    write_traffic(file, [AccessStep(True, 0x4000_0000, 1)])
    before = file.read_bytes()
    with pytest.raises(InputError, match="step 1: CSV cannot hold a handler"):
        write_traffic(file, [Handler("noon", "levers.in.4", ())])
    assert file.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["day.csv"]
