"""Every hook of every kind of plug-in, and every kind of rubbish (tests/faults/scenes.py).

In every run a part of the walk; the whole is marked ``long``.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.faults.scenes import DEEDS, DOES, GIVES, RESULTS, make, walked

Outcomes = dict[str, list[dict[str, Any]]]
#: (hook, rubbish) that are fine: the contract of the hook takes such a value.
FINE = {
    *((hook, "none") for hook in (
        "Model.check", "Ear.check", "Hand.check", "Hard.check", "Peal.check", "Peal.count",
        "Model.cacheable_until_STATE", "Model.next_edge", "host.cacheable_until", "Ear.text",
        "Ear.frames", "Ear.current", "Ear.explain", "Peal.next", "host.event.detail", "measure",
    )),
    *((hook, "numpy") for hook in (
        "Model.show_STATE", "Model.cacheable_until_STATE", "Model.access", "host.edge.level",
        "host.edge.access", "host.event.cycle", "host.event.access", "host.character.cycle",
        "host.character.byte", "host.character.access", "host.wake_at", "host.cacheable_until",
        "struck.cycle", "struck.access", "Reader.cause", "Peal.count", "host.event.detail",
        "measure", "Hand.drive.cycle", "Hand.drive.level", "firmware.data", "firmware.wait",
    )),
    *((hook, "huge") for hook in (
        "Model.cacheable_until_STATE", "Model.next_edge", "Model.rest_at", "host.wake_at",
        "host.cacheable_until", "Peal.count", "host.event.detail", "measure",
    )),
    *((hook, "text") for hook in (
        "Model.check", "Ear.check", "Hand.check", "Hard.check", "Peal.check", "host.event.kind",
        "Ear.text", "Ear.describe", "struck.key", "host.event.detail", "export.text", "measure",
    )),
    *(("host.event.detail", kind) for kind in ("negative", "fraction", "list", "array")),
    *(("measure", kind) for kind in ("negative", "fraction")),
    ("Hard.notes_for", "list"),
}  # fmt: skip
#: What hooks are called that run once the facts of the run are there: all else is shown.
AFTER = ("Ear.decode", "Ear.rows", "Ear.facts", "Ear.text", "Ear.characters", "Ear.frames",
         "Ear.current", "Ear.findings", "Ear.finding.describe", "struck", "struck.describe",
         "struck.cycle", "struck.access", "struck.key")  # fmt: skip
#: Hooks that the engine ``python`` asks for nothing in these scenes.
NOT_ASKED = ("Peal.count", "Model.next_edge", "Ear.explain", "Ear.finding.advice")


def cases(kinds: tuple[str, ...], engine: str, *, results: bool) -> Iterator[tuple[str, ...]]:
    """Yield the cases of kinds of rubbish, over the hooks with a result or over all."""
    for table in (RESULTS,) if results else (RESULTS, DEEDS):
        for scene, hooks in table.items():
            for hook in hooks:
                if hook not in NOT_ASKED:
                    yield from ((hook, kind, scene, engine) for kind in kinds)


def check(found: dict[str, Any]) -> str:
    """Return what is wrong with what came of a case, "" if nothing is."""
    (hook, rubbish, scene, _), code, told = found["case"], found["code"], found["err"]
    if code not in (0, 1, 2) or "Traceback" in told:
        return f"{code}: {told[-300:]}"
    if (hook, rubbish) in FINE:
        return ""
    if code != 2:
        return f"exit code {code}, not 2"
    if not re.search(r"faulty\w*\.py:\d+", told):
        return f"no file and line: {told[-300:]}"
    if hook in AFTER and scene == "model":
        return rest_of(found["out"])
    return ""


def rest_of(out: str) -> str:
    """Return what is wrong with a result from which what a hook gives is missing, "" if nothing is."""
    try:
        result = json.loads(out)
    except ValueError:
        return f"the rest is lost: {out[-300:]!r}"
    note = any(one.startswith("Judged without a part that failed: ") for one in result["notes"])
    return "" if note and result["accesses"] > 2 else f"it does not tell that: {result['notes']}"


def wrong(found: list[dict[str, Any]]) -> list[str]:
    """Return what is wrong with the outcomes of a walk."""
    mistakes = [(one["case"], check(one)) for one in found]
    return [f"{case}: {mistake}" for case, mistake in mistakes if mistake]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the bench of the walk."""
    make(tmp_path)
    return tmp_path


#: A part of the walk, which one process does for all quick tests.
DRAWN = {
    "fails": (
        ("Model.write_LEVEL", "raise", "model"), ("Model.access", "huge", "model"),
        ("Model.table_for", "none", "model"), ("host.event.detail", "object", "model"),
        ("Ear.decode", "exit", "model"), ("struck", "memory", "model"),
        ("Model.wake", "odd", "model"), ("Ear.rows", "object", "model"),
        ("Model.registers", "list", "model"), ("Model.show_STATE", "huge", "model"),
        ("format.read", "object", "format"), ("struck.describe", "none", "model"),
        ("Reader.take_notes", "deep", "hardware"), ("Hard.note_widths", "none", "hardware"),
    ),
    "loops": (("Model.write_LEVEL", "loop", "model"), ("Ear.decode", "loop", "model")),
    "prints": (
        ("Model.write_LEVEL", "print", "model"), ("Ear.decode", "print", "model"),
        ("struck", "print", "model"), ("Model.check", "print", "model"),
    ),
    "forks": (("Model.write_LEVEL", "fork", "model"), ("struck", "fork", "model")),
}  # fmt: skip


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> Outcomes:
    """What came of the drawn cases, by their group."""
    folder = tmp_path_factory.mktemp("walk")
    make(folder)
    drawn = [(*case, "python") for group in DRAWN.values() for case in group]
    found = walked(folder, drawn)
    assert len(found) == len(drawn)
    left = iter(found)
    return {name: [next(left) for _ in group] for name, group in DRAWN.items()}


@pytest.mark.quick
def test_a_hook_that_fails_is_named_with_its_file_and_line(outcomes: Outcomes) -> None:
    """Some hooks of each kind: exit code 2, one message that names file and line, no traceback."""
    assert wrong(outcomes["fails"]) == []


def test_a_hook_that_never_returns_ends_at_the_limit(outcomes: Outcomes) -> None:
    """Its processor time is limited; the message names file, line, hook, the limit and its variable."""
    assert wrong(outcomes["loops"]) == []
    for one in outcomes["loops"]:
        assert "computed for more than 0.3 s, the most that a hook may" in one["err"]
        assert "BUSBOX_HOOK_SECONDS" in one["err"]


def test_what_a_hook_prints_stays_out_of_the_result(outcomes: Outcomes) -> None:
    """With --json standard output is one object, whatever hooks print; that goes to standard error."""
    for one in outcomes["prints"]:
        json.loads(one["out"])
        assert "noise from a hook" in one["err"]


def test_a_hook_that_forks_has_one_result(outcomes: Outcomes) -> None:
    """The child that returns from a hook ends there: the result is written once, by the parent."""
    for one in outcomes["forks"]:
        json.loads(one["out"])
        assert one["code"] in (0, 1)
        assert "the child ends here" in one["err"]


@pytest.mark.long
@pytest.mark.parametrize("kind", GIVES)
def test_no_result_of_a_hook_breaks_a_run(kind: str, folder: Path) -> None:
    """Each hook with a result, for one kind of value: refused by file and line, or fine."""
    found = walked(folder, cases((kind,), "python", results=True))
    assert len(found) > 60
    assert wrong(found) == []


@pytest.mark.long
@pytest.mark.parametrize("kind", DOES)
def test_whatever_a_hook_raises_is_told(kind: str, folder: Path) -> None:
    """Each hook, for one kind of error: exit code 2 and the place; ``sys.exit(0)`` ends nothing."""
    found = walked(folder, cases((kind,), "python", results=False))
    assert len(found) > 80
    assert wrong(found) == []


@pytest.mark.long
@pytest.mark.parametrize("engine", ["reference", "llvm"])
def test_every_engine_tells_what_a_model_does(engine: str, folder: Path) -> None:
    """A model and a note reader that raise or answer rubbish are told on the other engines too."""
    drawn = [
        (hook, kind, scene, engine)
        for scene, hooks in (
            ("model", ("Model.access", "Model.wake", "Model.show_STATE", "Model.input")),
            ("hardware", ("Reader.access", "Reader.cause", "Reader.take_notes")),
        )
        for hook in hooks
        for kind in ("raise", "exit")
    ]
    drawn += [("Model.access", kind, "model", engine) for kind in ("huge", "none", "negative")]
    assert wrong(walked(folder, drawn)) == []
