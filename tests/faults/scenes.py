"""The bench of the walk, and the hooks that it walks over."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from tests.faults.plug_ins import FILE

BENCH = """
clock = "1 MHz"
{rules}

[slot.bell]
model = "faulty.py:Model"
base = 0x1000
size = 0x40

{attached}

[[input]]
pin = "bell.lever"
at = "4 us"
level = 1

[[reset]]
at = "9 us"

{traffic}

[[expect]]
register = {{ of = "bell.STATE", is = 1 }}
"""
ATTACHED = """
[attach.ear]
kind = "faulty.py:Ear"
pin = "bell.hammer"
"""
STEPS = "write bell.LEVEL 1\nawait bell.hammer 1\nread bell.STATE\nwrite bell.LEVEL 0 +3\n"

#: Hooks whose result counts, by the scene in which they are walked over.
RESULTS = {
    "model": (
        "Model.check", "Model.table_for", "Model.pins_for", "Model.resets_for", "Model.show_STATE",
        "Model.cacheable_until_STATE", "Model.next_edge", "Model.rest_at", "Model.access",
        "Model.registers", "host.edge.pin", "host.edge.cycle", "host.edge.level",
        "host.edge.access", "host.event.cycle", "host.event.kind", "host.event.access",
        "host.character.cycle", "host.character.byte", "host.character.access", "host.wake_at",
        "host.cacheable_until", "Ear.check", "Ear.decode", "Ear.rows", "Ear.facts", "Ear.text",
        "Ear.characters", "Ear.frames", "Ear.current", "Ear.findings", "Ear.finding.describe",
        "Ear.finding.advice", "Ear.explain", "struck", "struck.describe", "struck.cycle",
        "struck.access", "struck.key",
    ),
    "driven": ("Hand.check", "Hand.drive", "Hand.drive.cycle", "Hand.drive.level"),
    "out": ("host.event.detail",),
    "hardware": (
        "Hard.check", "Hard.table_for", "Hard.pins_for", "Hard.resets_for", "Hard.note_widths",
        "Hard.notes_for", "Hard.undefined_for", "Reader.cause",
    ),
    "why": ("Model.because", "Ear.describe"),
    "source": ("Peal.check", "Peal.count", "Peal.handlers", "Peal.next", "Peal.again"),
    "firmware": ("firmware.data", "firmware.wait", "firmware.pin", "firmware.target"),
    "format": ("format.read",),
    "written": ("format.write",),
    "export": ("export.text",),
    "sweep": ("measure",),
}  # fmt: skip
#: Hooks that return nothing.
DEEDS = {
    "model": (
        "Model.__init__", "Model.forward", "Model.read_STATE", "Model.write_LEVEL", "Model.clear",
        "Model.input", "Model.wake", "Model.advance", "Model.close", "Model.reset", "Ear.__init__",
    ),
    "driven": ("Hand.__init__",),
    "hardware": (
        "Hard.build", "Reader.__init__", "Reader.access", "Reader.take_notes", "Reader.reset",
    ),
    "source": ("Peal.__init__", "Peal.close"),
    "firmware": ("firmware",),
    "export": ("export",),
}  # fmt: skip
#: What a hook may do; the second kind are results.
DOES = ("raise", "value error", "odd", "exit", "memory", "deep")
GIVES = (
    "object", "text", "none", "huge", "negative", "fraction", "numpy", "list", "array",
)  # fmt: skip


def make(folder: Path) -> None:
    """Write the bench, its plug-ins and a package that offers the format."""
    (folder / "faulty.py").write_text(FILE, encoding="utf-8")
    (folder / "day.steps").write_text(STEPS, encoding="utf-8")
    (folder / "day.faulty").write_text("x", encoding="utf-8")
    files = '[traffic]\nfile = "day.steps"'
    rules = 'rules = ["faulty.py:struck"]'
    hand = "[attach.hand]\nkind = 'faulty.py:Hand'\npin = 'bell.lever'\n"
    bench = BENCH.format(rules=rules, attached=ATTACHED, traffic=files)
    (folder / "bench.toml").write_text(bench, encoding="utf-8")
    without = bench.replace('[[input]]\npin = "bell.lever"\nat = "4 us"\nlevel = 1\n', hand)
    (folder / "driven.toml").write_text(without, encoding="utf-8")
    source = '[traffic]\nsource = "faulty.py:Peal"'
    source = BENCH.format(rules="", attached="", traffic=source)
    (folder / "source.toml").write_text(source, encoding="utf-8")
    installed = folder / "installed"
    info = installed / "faulty-0.1.dist-info"
    info.mkdir(parents=True)
    (info / "METADATA").write_text("Name: faulty\nVersion: 0.1\n", encoding="utf-8")
    points = "[busbox.formats]\nfaulty = faulty_format:KEPT\n"
    (info / "entry_points.txt").write_text(points, encoding="utf-8")
    (installed / "faulty_format.py").write_text(FILE, encoding="utf-8")


def walked(folder: Path, cases: Iterable[Sequence[str]], **variables: str) -> list[dict[str, Any]]:
    """Run cases in a process that forks for each; return what came of them."""
    environment = os.environ | {"BUSBOX_HOOK_SECONDS": "0.3", "PYTHONPATH": os.getcwd()}
    done = subprocess.run(
        [sys.executable, "-m", "tests.faults.walk", str(folder), json.dumps(list(cases))],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment | variables,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]
