"""Traffic from Python files that do not load, hold no function, or raise."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

CASES = (
    Spoiled(
        "A function's file must exist.",
        (
            "busbox: bench.toml:45: traffic.file: there is no file 'day.py'; did you mean "
            "'day.steps'?\n"
        ),
        edits=(('"day.steps"', '"day.py:firmware"'),),
    ),
    Spoiled(
        "A function must be named.",
        (
            "busbox: bench.toml:45: traffic.file: must name the function too, such as "
            "'day.py:firmware', not 'day.py'\n"
        ),
        edits=(('"day.steps"', '"day.py"'),),
        files={"day.py": ('def firmware(bus):\n    bus.write("levers.OUT", 1)\n')},
    ),
    Spoiled(
        "A function must be there.",
        (
            "busbox: bench.toml:45: traffic.file: there is no function 'firmwre' in "
            "day.py; did you mean 'firmware'?\n"
        ),
        edits=(('"day.steps"', '"day.py:firmwre"'),),
        files={"day.py": ('def firmware(bus):\n    bus.write("levers.OUT", 1)\n')},
    ),
    Spoiled(
        "A function's file must load.",
        "busbox: day.py:1: does not load: SyntaxError: expected ':'\n",
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={"day.py": ("def firmware(bus)\n    pass\n")},
    ),
    Spoiled(
        "What is no function is refused.",
        ("busbox: bench.toml:45: traffic.file: day.py:FIRMWARE: must be a function, not [1, 2]\n"),
        edits=(('"day.steps"', '"day.py:FIRMWARE"'),),
        files={"day.py": "FIRMWARE = [1, 2]\n"},
    ),
    Spoiled(
        "A function must take the bus.",
        (
            "busbox: bench.toml:45: traffic.file: day.py:firmware: must be a function of "
            "one argument, the bus\n"
        ),
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={"day.py": ("def firmware():\n    pass\n")},
    ),
    Spoiled(
        "A function must not be a generator: nothing would be played.",
        (
            "busbox: bench.toml:45: traffic.file: day.py:firmware: must be a plain "
            "function: no yield, no async\n"
        ),
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={"day.py": ("def firmware(bus):\n    yield bus\n")},
    ),
    Spoiled(
        "What a function raises is told with its line.",
        "busbox: day.py:4: the function raised KeyError: 4\n",
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={
            "day.py": (
                'def firmware(bus):\n    bus.write("levers.OUT", 1)\n    lever = {}\n    lever[4]\n'
            )
        },
    ),
    Spoiled(
        "A wrong argument is told with its line.",
        (
            "busbox: day.py:2: the function raised ValueError: data must be a whole number "
            "from 0 to 0xffffffff, not True\n"
        ),
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={"day.py": ('def firmware(bus):\n    bus.write("levers.OUT", True)\n')},
    ),
    Spoiled(
        "A target that is a float is refused.",
        (
            "busbox: day.py:2: the function raised ValueError: a target must be an address "
            "or 'slot.REGISTER', not 1.0\n"
        ),
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={"day.py": ("def firmware(bus):\n    bus.write(1.0, 1)\n")},
    ),
    Spoiled(
        "A negative address is refused.",
        (
            "busbox: day.py:2: the function raised ValueError: an address must be from 0 "
            "to 0xffffffff, not -0x4\n"
        ),
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={"day.py": ("def firmware(bus):\n    bus.read(-4)\n")},
    ),
    Spoiled(
        "A wrong name is told with its line.",
        "busbox: day.py:2: levers has no register 'OUTT'; did you mean 'OUT'?\n",
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={"day.py": ('def firmware(bus):\n    bus.write("levers.OUTT", 1)\n')},
    ),
    Spoiled(
        "An access that ends with ERR and is not looked at ends the function.",
        (
            "busbox: day.py:2: the function raised BusError: the access to 0x30000000 "
            "ended with ERR\n"
        ),
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={"day.py": ("def firmware(bus):\n    bus.read(0x3000_0000)\n")},
    ),
    Spoiled(
        "A function that leaves Python is told.",
        "busbox: day.py:2: the function raised SystemExit\n",
        edits=(('"day.steps"', '"day.py:firmware"'),),
        files={"day.py": ("def firmware(bus):\n    raise SystemExit\n")},
    ),
    Spoiled(
        "A function of the command line is looked up where the command runs.",
        "busbox: --traffic: there is no file 'night.py'\n",
        args=(
            "run",
            "bench.toml",
            "--traffic",
            "night.py:firmware",
        ),
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
