"""Model files that do not exist, do not load, or hold no model."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import BELL, Spoiled, assert_told

CASES = (
    Spoiled(
        "A model file must exist.",
        "busbox: bench.toml:38: slot.book.model: there is no file 'bell.py'\n",
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
    ),
    Spoiled(
        "A model file that is nearly there is told.",
        (
            "busbox: bench.toml:38: slot.book.model: there is no file 'bel.py'; did you "
            "mean 'bell.py'?\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bel.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": BELL},
    ),
    Spoiled(
        "A model file's class must be named.",
        (
            "busbox: bench.toml:38: slot.book.model: must name the class too, such as "
            "'bell.py:Bell', not 'bell.py'\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": BELL},
    ),
    Spoiled(
        "A model file's class must be there.",
        (
            "busbox: bench.toml:38: slot.book.model: there is no class 'Bel' in bell.py; "
            "did you mean 'Bell'?\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bel"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": BELL},
    ),
    Spoiled(
        "A model file's class must have a name.",
        "busbox: bench.toml:38: slot.book.model: there is no class '' in bell.py\n",
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": BELL},
    ),
    Spoiled(
        "A syntax error is told with its line.",
        (
            "busbox: bench.toml:38: slot.book.model: bell.py:3: does not load: "
            "SyntaxError: invalid syntax\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": ('"""A bell."""\n\nclass Bell(:\n    pass\n')},
    ),
    Spoiled(
        "A model file must be UTF-8.",
        (
            "busbox: bench.toml:38: slot.book.model: bell.py:1: does not load: it must be "
            "UTF-8 text\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": b'"""\xff"""\n'},
    ),
    Spoiled(
        "What a file raises while it loads is told with its line.",
        (
            "busbox: bench.toml:38: slot.book.model: bell.py:3: does not load: ValueError: "
            "math domain error\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": ("import math\n\nRATE = math.sqrt(-1)\n")},
    ),
    Spoiled(
        "A library that is not there is told with the line that asks for it.",
        (
            "busbox: bench.toml:38: slot.book.model: bell.py:2: does not load: "
            "ModuleNotFoundError: No module named 'no_such_clockwork'\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": ("\nimport no_such_clockwork\n")},
    ),
    Spoiled(
        "Two registers at one offset are told with the line of their table.",
        (
            "busbox: bench.toml:38: slot.book.model: bell.py:3: does not load: ValueError: "
            "STRIKE and TONE share offset 0x0\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={
            "bell.py": (
                "from busbox.map.registers import Register, RegisterTable\n"
                "\n"
                'TABLE = RegisterTable(Register("STRIKE", 0), Register("TONE", 0))\n'
            )
        },
    ),
    Spoiled(
        "A file that leaves Python while it loads is told.",
        "busbox: bench.toml:38: slot.book.model: bell.py:3: does not load: SystemExit: 0\n",
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": ("import sys\n\nsys.exit(0)\n")},
    ),
    Spoiled(
        "A model must be a class.",
        "busbox: bench.toml:38: slot.book.model: 'bell.py:Bell' must be a class, not 3\n",
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={"bell.py": "Bell = 3\n"},
    ),
    Spoiled(
        "A model must keep the whole contract.",
        (
            "busbox: bench.toml:38: slot.book.model: 'bell.py:Bell' must be a model: it "
            "lacks MEMBERS (the base class busbox.RegisterModel has them all)\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={
            "bell.py": (
                "class Bell:\n"
                "    settings = ()\n"
                "\n"
                "    def access(self, access):\n"
                "        return 0\n"
            )
        },
    ),
    Spoiled(
        "A setting must not have the name of a slot's key.",
        (
            "busbox: bench.toml:38: slot.book.model: its setting 'wait' has the same name as "
            "a key of a slot\n"
        ),
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={
            "bell.py": (
                "from busbox.device import Setting\n"
                "from busbox.device import RegisterModel\n"
                "\n"
                "\n"
                "class Bell(RegisterModel):\n"
                '    settings = (Setting("wait", 1),)\n'
            )
        },
    ),
    Spoiled(
        "What a model says of its settings is told at its slot.",
        "busbox: bench.toml:37: slot.book: must have a hammer before it can strike\n",
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={
            "bell.py": (
                "from busbox.device import RegisterModel\n"
                "\n"
                "\n"
                "class Bell(RegisterModel):\n"
                "    @classmethod\n"
                "    def check(cls, settings):\n"
                '        return "must have a hammer before it can strike"\n'
            )
        },
    ),
    Spoiled(
        "What a model raises when it is asked for its registers is told.",
        "busbox: bench.toml:38: slot.book.model: its table_for raised KeyError: 'tones'\n",
        edits=(
            (
                ('"memory"\nbase = 0x2000_0000\nsize = 0x100\ndecode = "range"\nkind = "ram"'),
                ('"bell.py:Bell"\nbase = 0x2000_0000\nsize = 0x100'),
            ),
        ),
        files={
            "bell.py": (
                "from busbox.device import RegisterModel\n"
                "\n"
                "\n"
                "class Bell(RegisterModel):\n"
                "    @classmethod\n"
                "    def table_for(cls, settings, size):\n"
                '        return settings["tones"]\n'
            )
        },
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
