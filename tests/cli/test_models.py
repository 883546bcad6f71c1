"""``busbox models``."""

from __future__ import annotations

import importlib.metadata
import json
from pathlib import Path

import pytest

from busbox.plugins import DEVICES, find
from tests.cli.saying import say
from tests.spoiled.cabin import Spoiled, assert_told

pytestmark = pytest.mark.quick

BELL = '''\
from busbox.device import REQUIRED, Pin, Setting
from busbox.device import RegisterModel
from busbox.map.registers import Field, Register, RegisterTable


class Bell(RegisterModel):
    """A station bell.

    Timing
    ------
    A write in ``e`` rings from e + 1; see :class:`Bell`.

    Source
    ------
    None.
    """

    settings = (
        Setting("strokes", REQUIRED, low=2, high=9, text="strokes a ring"),
        Setting("tone", REQUIRED, "text", choices=("low", "high"), text="how it sounds"),
        Setting("song", REQUIRED, "text", text="what it plays"),
    )
    pins = (Pin("hammer.0"), Pin("hammer.1"), Pin("rope", "input", 1, "Pulled low."))

    @classmethod
    def table_for(cls, settings, size):
        fields = (Field("RING", 0, 0, "ones_act", text="Rings."), Field("TONE", 7, 4, reset=3))
        return RegisterTable(
            Register("STRIKE", 4 * settings["strokes"], "rw", "What it does.", fields)
        )
'''


def test_the_list_names_every_model_with_its_first_sentence(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each built-in model, in words and as an object."""
    page = " ".join(say(capsys, "models").split())
    listed = json.loads(say(capsys, "models", "--json"))["models"]
    assert [one["name"] for one in listed][: len(DEVICES.built_in)] == list(DEVICES.built_in)
    for one in listed[: len(DEVICES.built_in)]:
        assert one["source"] == "built-in"
        doc = find(DEVICES, one["name"]).__doc__
        assert one["text"] == " ".join(doc.split("\n\n")[0].split())
        assert f"{one['name']} built-in {one['text']}" in page


def test_the_list_names_plug_ins_and_says_why_one_does_not_load(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plug-in that works has its sentence; one that does not is listed with the reason."""
    points = [
        importlib.metadata.EntryPoint("whistle", "busbox.device:RegisterModel", DEVICES.group),
        importlib.metadata.EntryPoint("broken", "busbox.no_such:Thing", DEVICES.group),
    ]
    monkeypatch.setattr(importlib.metadata, "entry_points", lambda group: points)
    page = " ".join(say(capsys, "models").split())
    assert "whistle plug-in A model that is nothing but its registers" in page
    assert (
        "broken plug-in cannot be used: plug-in 'broken' does not load: ModuleNotFoundError: "
        "No module named 'busbox.no_such'" in page
    )


@pytest.mark.parametrize("name", sorted(DEVICES.built_in))
def test_one_model_tells_registers_fields_pins_settings_and_timing(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Everything that the class declares stands on the page and in the object; no line is too long."""
    model = find(DEVICES, name)
    page = say(capsys, "models", name)
    found = json.loads(say(capsys, "models", name, "--json"))
    assert all(len(line) <= 100 for line in page.splitlines())
    assert "`" not in page
    values = {one.name: getattr(one.default, "real", one.default) for one in model.settings}
    values |= found["assumed"]
    table = model.table_for(values, found["size"] or 0x1000)
    assert [one["name"] for one in found["registers"]] == [one.name for one in table]
    for register, one in zip(table, found["registers"], strict=True):
        assert (one["offset"], one["access"]) == (register.offset, register.access)
        assert [field["name"] for field in one["fields"]] == [f.name for f in register.fields]
        assert f"{register.offset:#x}" in page
        assert register.text[:20] in page
        assert all(f.name in page for f in register.fields if f.name != "VALUE")
    assert [pin["name"] for pin in found["pins"]] == [pin.name for pin in model.pins_for(values)]
    assert [one["name"] for one in found["settings"]] == [one.name for one in model.settings]
    assert all(f"  {one.name}  " in page for one in model.settings)
    assert found["timing"].split()[0] in page.partition("\nTiming\n")[2]


def test_required_settings_take_the_smallest_value_and_that_is_said(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole page of a model in a file: offset 8 comes from two strokes."""
    monkeypatch.chdir(tmp_path)
    Path("bell.py").write_text(BELL, encoding="utf-8")
    assert (
        say(capsys, "models", "bell.py:Bell")
        == """\
bell.py:Bell
  A station bell.
  Shown with strokes = 2, the smallest; a bench must give it.
  Shown with tone = low, the first; a bench must give it.
  Shown with song = x, for example; a bench must give it.

Registers
  offset  name    bits  access    reset  text
  0x8     STRIKE        rw        0x30   What it does.
            RING  0     ones_act  0x0    Rings.
            TONE  7..4  rw        0x3

  rw        reads the stored value; a write stores the selected lanes
  ones_act  reads 0; writing 1 to a bit acts on it; unselected lanes are ignored

Pins
  hammer.0..1  output  after reset 0
  rope         input   undriven 1     Pulled low.

Settings
  strokes  2 to 9       must be given  strokes a ring
  tone     low or high  must be given  how it sounds
  song     a string     must be given  what it plays

Timing
  A write in e rings from e + 1; see Bell.
"""
    )
    found = json.loads(say(capsys, "models", "bell.py:Bell", "--json"))
    assert found["assumed"] == {"strokes": 2, "tone": "low", "song": "x"}
    assert found["size"] is None
    assert found["timing"] == "A write in e rings from e + 1; see Bell."
    assert found["settings"][0] == {
        "name": "strokes", "kind": "int", "required": True, "default": None, "low": 2, "high": 9,
        "choices": None, "text": "strokes a ring",
    }  # fmt: skip
    assert found["registers"][0]["fields"][0] == {
        "name": "RING", "high": 0, "low": 0, "access": "ones_act", "reset": 0, "text": "Rings.",
    }  # fmt: skip


def test_a_model_without_anything_says_so(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No registers, pins, settings, text: each is told to be none."""
    monkeypatch.chdir(tmp_path)
    text = "from busbox.device import RegisterModel\n\n\nclass Nothing(RegisterModel):\n    pass\n"
    Path("a.py").write_text(text, encoding="utf-8")
    page = say(capsys, "models", "a.py:Nothing")
    for part in ("Registers: none", "Pins: none", "Settings: none"):
        assert f"\n{part}\n" in page
    assert json.loads(say(capsys, "models", "a.py:Nothing", "--json"))["timing"] is None


CASES = (
    Spoiled(
        "A model must be known.",
        "busbox: there is no model 'gipo'; did you mean 'gpio'? (known: gpio, uart, pulse_led, "
        "timer, memory or file.py:Class)\n",
        args=("models", "gipo"),
    ),
    Spoiled(
        "A file must name its class.",
        "busbox: must name the class too, such as 'bell.py:Bell', not 'bell.py'\n",
        args=("models", "bell.py"),
    ),
    Spoiled(
        "A file must exist.",
        "busbox: there is no file 'bell.py'\n",
        args=("models", "bell.py:Bell"),
    ),
    Spoiled(
        "A class must be in its file.",
        "busbox: there is no class 'Bel' in bell.py; did you mean 'Bell'?\n",
        files={"bell.py": BELL},
        args=("models", "bell.py:Bel"),
    ),
    Spoiled(
        "A model must be able to tell its registers.",
        "busbox: bell.py:Bell: cannot be shown with its defaults: it raised KeyError: 'stroke'\n",
        files={"bell.py": BELL.replace('settings["strokes"]', 'settings["stroke"]')},
        args=("models", "bell.py:Bell"),
    ),
    Spoiled(
        "Defaults that do not go together are told.",
        "busbox: bell.py:Bell: cannot be shown with its defaults: too few\n",
        files={
            "bell.py": BELL
            + "\n    @classmethod\n    def check(cls, settings):\n        return 'too few'\n"
        },
        args=("models", "bell.py:Bell"),
    ),
    Spoiled(
        "There must not be a second name.",
        "busbox: models: unexpected argument: uart\n",
        args=("models", "gpio", "uart"),
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


@pytest.mark.parametrize(
    ("model", "pin", "carries"),
    [("pulse_led", "line", "frames"), ("uart", "tx", "text"), ("uart", "rx", None)],
)
def test_a_pin_shows_what_it_carries(
    model: str, pin: str, carries: str | None, capsys: pytest.CaptureFixture[str]
) -> None:
    """On the page behind its meaning, and in the object; nothing for a pin that carries nothing."""
    pins = json.loads(say(capsys, "models", model, "--json"))["pins"]
    assert {one["name"]: one["carries"] for one in pins}[pin] == carries
    row = next(line for line in say(capsys, "models", model).splitlines() if f"  {pin} " in line)
    assert row.endswith(f" Carries {carries}." if carries else ".")
    assert ("Carries" in row) == (carries is not None)
