"""How ``map`` and ``models`` show a device whose port is of another kind than the fabric's."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from busbox import load_bench
from tests.check.own import ported_devices
from tests.cli.saying import say

BENCH = """\
clock = "1 MHz"

[slot.dimmer]
model = "ported.py:Apb"
base = 0x1000
size = 0x20

[slot.bell]
model = "ported.py:Plainest"
base = 0x2000
size = 0x20
wait = 2

[slot.box]
model = "ported.py:Piped"
base = 0x3000
size = 0x20

[slot.levers]
model = "gpio"
base = 0x4000
size = 0x40

[traffic]
file = "all.steps"
"""

STEPS = """\
write  dimmer.WORD0 5
write  bell.WORD0 5
read   bell.WORD0 = 5
write  box.WORD0 5
read   levers.IN = 0
"""

MAP = """\
  addresses               slot    model               size  wait
      decoding
  0x00001000..0x0000101f  dimmer  ported.py:Apb       0x20  1 + 1
      full (compares bits 31..5)
  0x00002000..0x0000201f  bell    ported.py:Plainest  0x20  2 + 0, read 2 + 1
      full (compares bits 31..5)
  0x00003000..0x0000301f  box     ported.py:Piped     0x20  1
      full (compares bits 31..5)
  0x00004000..0x0000403f  levers  gpio                0x40  1
      full (compares bits 31..6)

Behind a bridge, whose cycles are added to the wait states
  dimmer  port apb; its bridge adds 1 cycle to every access
  bell    port strobes; its bridge adds 1 cycle to a read, none to a write
  box     port wishbone; its bridge adds no cycle
"""


@pytest.fixture(autouse=True)
def _bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    source = Path(ported_devices.__file__).read_text(encoding="utf-8")
    Path("ported.py").write_text(source, encoding="utf-8")
    Path("bench.toml").write_text(BENCH, encoding="utf-8")
    Path("all.steps").write_text(STEPS, encoding="utf-8")


def test_map_adds_the_cycles_of_a_bridge_to_the_wait_states(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The column wait has both, a line names the kind of port; other slots are shown as ever."""
    assert MAP in say(capsys, "map", ".")
    assert "bridge" not in say(capsys, "map", "first_light")


def test_the_cycles_that_map_shows_are_those_of_a_run(capsys: pytest.CaptureFixture[str]) -> None:
    """Each access takes the wait states and what its bridge adds; of these devices, none waits itself.

    The pipelined one is the exception: it answers a cycle after the request.
    """
    slots = {one["name"]: one for one in json.loads(say(capsys, "map", ".", "--json"))["slots"]}
    assert slots["levers"]["port"] is None
    assert slots["dimmer"]["port"] == {
        "kind": "apb", "least_wait": 1, "added_to_write": 1, "added_to_read": 1,
    }  # fmt: skip
    accesses = load_bench(".").run().accesses
    taken = (accesses.end - accesses.start).tolist()
    names = ("dimmer", "bell", "bell", "box")
    ways = ("added_to_write", "added_to_write", "added_to_read", "added_to_write")
    expected = [
        slots[name]["wait"] + slots[name]["port"][way]
        for name, way in zip(names, ways, strict=True)
    ]
    expected[3] += 1
    assert taken == [*expected, slots["levers"]["wait"]]


def test_models_shows_the_port_of_a_device(capsys: pytest.CaptureFixture[str]) -> None:
    """Its kind, what the bridge adds, and the wait states that it needs; null for a model."""
    page = say(capsys, "models", "ported.py:Axi")
    assert (
        "\nBus port\n"
        "  Port axi4-lite; its bridge adds 1 cycle to every access; the slot needs wait =\n"
        "  1 or more.\n"
    ) in page
    found = json.loads(say(capsys, "models", "ported.py:Plainest", "--json"))
    assert found["port"]["added_to_read"] == 1
    assert json.loads(say(capsys, "models", "gpio", "--json"))["port"] is None
    assert "Bus port" not in say(capsys, "models", "gpio")
