"""Verbs that take a saved recording in place of a bench."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from busbox import Bench, Recording, load_bench
from busbox.bench.find import packaged_benches
from tests.cli.saying import say

Say = Callable[..., str]


@pytest.fixture
def tell(capsys: pytest.CaptureFixture[str]) -> Say:
    """Return what runs a verb and returns what it prints."""
    return lambda *words, code=0: say(capsys, *words, code=code)


@pytest.fixture(scope="module")
def light(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return a recording of first_light, run in a folder that is no more, lamps moved."""
    folder = tmp_path_factory.mktemp("first_light")
    copy = folder / "first_light"
    shutil.copytree(packaged_benches()["first_light"].parent, copy)
    bench = load_bench(copy).with_values(["slot.lamps.base=0x44010000"])
    bench.run("python").save(folder / "light.recording.npz")
    shutil.rmtree(copy)
    return str(folder / "light.recording.npz")


MOVED = ("first_light", "--set", "slot.lamps.base=0x44010000")


@pytest.mark.parametrize(
    "options", [(), ("--json",), ("--coverage",), ("--json", "--coverage"), ("--strict",)]
)
def test_run_tells_again_what_the_run_told(options: tuple[str, ...], light: str, tell: Say) -> None:
    """Summary, JSON, coverage and exit code are those of the run, word for word."""
    code = int("--strict" in options)
    assert tell("run", light, *options, code=code) == tell("run", *MOVED, *options, code=code)


def test_run_writes_the_files_of_the_run(light: str, tell: Say, tmp_path: Path) -> None:
    """Waveform, recording and report: byte for byte those that the run writes, but for the archive."""
    tell("run", light, "--vcd", str(tmp_path / "a.vcd"), "--out", str(tmp_path / "a"))
    tell("run", *MOVED, "--vcd", str(tmp_path / "b.vcd"), "--out", str(tmp_path / "b"))
    assert (tmp_path / "a.vcd").read_bytes() == (tmp_path / "b.vcd").read_bytes()
    name = "first_light.json"
    assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
    again = tell("run", str(tmp_path / "a" / "first_light.recording.npz"))
    assert again == tell("run", *MOVED)


def test_a_run_that_was_stopped_is_told_so(tell: Say, tmp_path: Path) -> None:
    """What --stop-on met is kept: in the summary and in the object."""
    words = ("run", "first_light", "--stop-on", "lamps.CONTROL")
    page = tell(*words, "--out", str(tmp_path))
    saved = str(tmp_path / "first_light.recording.npz")
    assert page.startswith("first_light: stopped after 128.1 us")
    assert tell("run", saved) == page
    assert tell("run", saved, "--json") == tell(*words, "--json")


def test_a_hang_and_a_broken_expectation_fail_again(tell: Say, tmp_path: Path) -> None:
    """The exit code is 1 as it was, without --strict."""
    tell("run", "mistakes/hang", "--out", str(tmp_path), code=1)
    tell("run", str(tmp_path / "hang.recording.npz"), code=1)
    bench = load_bench("first_light").with_values(["expect=[{level={pin='lamps.line',is=1}}]"])
    bench.run("python").save(tmp_path / "must.recording.npz")
    assert "not met" in tell("run", str(tmp_path / "must.recording.npz"), code=1)


@pytest.mark.parametrize(
    ("verb", "option"),
    [
        ("run", ("--engine", "python")), ("run", ("--engine", "auto")), ("run", ("--check-engines",)),
        ("run", ("--traffic", "a.steps")), ("run", ("--set", "clock=1")), ("run", ("--until", "5")),
        ("run", ("--stop-on", "framing")), ("run", ("--all-hardware",)),
        ("why", ("access.0", "--set", "clock=1")), ("state", ("--at", "1", "--set", "clock=1")),
        ("why", ("access.0", "--traffic", "a.steps")),
        ("state", ("--at", "1", "--traffic", "a.steps")),
    ],
)  # fmt: skip
def test_options_that_need_a_new_run_are_refused(
    verb: str, option: tuple[str, ...], light: str, tell: Say
) -> None:
    """One sentence names the option and says why."""
    (name,) = (word for word in option if word.startswith("--") and word != "--at")
    assert tell(verb, light, *option, code=2) == (
        f"busbox: {name}: needs a new run and cannot be used with a recording, {light!r}\n"
    )


def test_every_refused_option_is_told(light: str, tell: Say) -> None:
    """Two of them give two sentences."""
    told = tell("run", light, "--until", "5", "--engine", "python", code=2)
    assert [line.split(":")[1] for line in told.splitlines()] == [" --engine", " --until"]


@pytest.mark.parametrize("asked", ["finding.0", "finding.413", "access.157", "telegraph.tx@100us"])
def test_why_tells_the_same_of_a_recording(asked: str, light: str, tell: Say) -> None:
    """Of findings, accesses and edges, for people and for programs."""
    name, *values = MOVED
    for form in ((), ("--json",)):
        assert tell("why", light, asked, *form) == tell("why", name, asked, *values, *form)


def test_why_tells_the_same_of_an_event(tell: Say, tmp_path: Path) -> None:
    """What a device reported, and who caused it."""
    load_bench("mistakes/too_fast").run("python").save(tmp_path / "fast.recording.npz")
    told = tell("why", str(tmp_path / "fast.recording.npz"), "event.0")
    assert told == tell("why", "mistakes/too_fast", "event.0")
    assert "caused by" in told


def test_why_finds_the_line_of_source_in_a_recording(tell: Say, tmp_path: Path) -> None:
    """Firmware and its source are in the recording."""
    load_bench("signal_cabin").run("python", "17 ms").save(tmp_path / "cabin.recording.npz")
    told = tell("why", str(tmp_path / "cabin.recording.npz"), "lamps.line@16ms")
    assert told == tell("why", "signal_cabin", "lamps.line@16ms")
    assert "signal_cabin.c:46: LED_CONTROL = 1;" in told


@pytest.mark.parametrize("at", ["0", "1", "2048", "130 us", "6863", "7000"])
def test_state_of_a_recording_is_that_of_the_run(at: str, light: str, tell: Say) -> None:
    """At the start, in between, in the last cycle and after it."""
    name, *values = MOVED
    for form in ((), ("--json",), ("levers",)):
        words = form if form != ("levers",) else ()
        slot = form if form == ("levers",) else ()
        told = tell("state", light, *slot, "--at", at, *words)
        assert told == tell("state", name, *slot, "--at", at, *values, *words)


@pytest.mark.parametrize("name", ["interrupted", "word_lamps", "edges", "mistakes/hang"])
def test_state_runs_the_carried_bench_in_every_cycle(name: str, tell: Say, tmp_path: Path) -> None:
    """Handlers, held accesses, resets and a hang: wherever it is asked, the run agrees so far."""
    recording = load_bench(name).run("python")
    recording.save(tmp_path / "one.recording.npz")
    step = max(1, recording.cycles // 7)
    for cycle in (*range(0, recording.cycles, step), recording.cycles - 2):
        told = tell("state", str(tmp_path / "one.recording.npz"), "--at", str(cycle))
        assert told == tell("state", name, "--at", str(cycle))


def test_state_refuses_a_bench_that_does_something_else(
    light: str, tell: Say, tmp_path: Path
) -> None:
    """If the carried traffic is not what was played, the first difference is told."""
    recording = Recording.load(light)
    assert recording.carried is not None
    name = "0/first_light.steps"
    lines = recording.carried.files[name].split(b"\n")
    first = next(n for n, line in enumerate(lines) if line.startswith(b"write"))
    lines[first] = b"write 0x60000000 1"
    carried = replace(recording.carried, files={name: b"\n".join(lines)})
    other = tmp_path / "other.recording.npz"
    replace(recording, carried=carried).save(other)
    told = tell("state", str(other), "--at", "130 us", code=2)
    assert told.startswith(
        f"busbox: {other}: running its bench again does not reproduce the recording: "
    )
    assert " of the access in cycle " in told
    assert tell("state", str(other), "--at", "1 s").startswith("first_light: cycle ")


def test_state_refuses_to_replay_traffic_that_is_not_carried(tell: Say, tmp_path: Path) -> None:
    """Steps from Python are not in the file: the end is known, what came before is not."""
    bench = Bench(
        {
            "clock": "1 MHz",
            "slot": {"levers": {"model": "gpio", "base": 0, "size": 64, "width": 2}},
            "traffic": lambda bus: bus.write("levers.OUT", 1),
        },
        name="noon",
    )
    recording = bench.run("python")
    recording.save(tmp_path / "noon.recording.npz")
    saved = str(tmp_path / "noon.recording.npz")
    assert "OUT     0x00000001" in tell("state", saved, "--at", "1 ms")
    assert tell("state", saved, "--at", "1", code=2) == (
        "busbox: noon: the recording cannot be replayed: its traffic came from Python, and only files "
        "and functions that can be imported by their names are carried\n"
    )


def test_twin_runs_the_bench_of_a_recording_anew(light: str, tell: Say) -> None:
    """With the carried traffic, with other traffic, and with none: as it would with the bench."""
    name, *values = MOVED
    other = ["--traffic", str(packaged_benches()["first_light"].with_name("first_light.steps"))]
    for more in ([], [*other, "--set", "slot.lamps.wait=3"], ["--random", "20"]):
        told = tell("twin", light, "lamps", *more)
        assert told.startswith(
            "lamps: model pulse_led and its twin PulseLedHardware\n  identical for"
        )
        assert told == tell("twin", name, "lamps", *values, *more)


def test_twin_of_a_recording_needs_its_traffic(tell: Say, tmp_path: Path) -> None:
    """Traffic that is not carried cannot be played, but other traffic can."""
    bench = Bench(
        {
            "clock": "1 MHz",
            "slot": {"levers": {"model": "gpio", "base": 0, "size": 64, "width": 2}},
            "traffic": lambda bus: bus.write("levers.OUT", 1),
        },
        name="noon",
    )
    saved = str(tmp_path / "noon.recording.npz")
    bench.run("python").save(saved)
    assert "cannot be replayed: its traffic came from Python" in tell(
        "twin", saved, "levers", code=2
    )
    (tmp_path / "noon.steps").write_text("write levers.OUT 1\n", encoding="utf-8")
    told = tell("twin", saved, "levers", "--traffic", str(tmp_path / "noon.steps"))
    assert "and 1 access\n" in told


@pytest.mark.parametrize(
    ("verb", "more"),
    [
        ("why", ("levers.out.1@43",)),
        ("state", ("--at", "43", "levers")),
        ("twin", ("levers",)),
    ],
)
def test_other_traffic_is_played(
    verb: str, more: tuple[str, ...], tell: Say, tmp_path: Path
) -> None:
    """--traffic means what it means for run; a file that is not there is told by the option."""
    file = tmp_path / "other.steps"
    file.write_text("pause 40\nwrite levers.OUT 0xA2\n", encoding="utf-8")
    told = tell(verb, "first_light", *more, "--traffic", str(file))
    if verb != "twin":
        assert "a2" in told.lower()
    told = tell(verb, "first_light", *more, "--traffic", "nowhere.steps", code=2)
    assert told.startswith("busbox: --traffic: there is no file 'nowhere.steps'")


def test_random_traffic_is_the_only_traffic(tell: Say) -> None:
    """--random draws accesses: other traffic would not be played, and is refused."""
    words = ("twin", "first_light", "lamps", "--random", "5", "--traffic", "a.steps")
    assert tell(*words, code=2) == ("busbox: --traffic: cannot be combined with --random\n")


@pytest.mark.parametrize("verb", ["map", "where"])
def test_other_verbs_say_that_they_want_a_bench(verb: str, light: str, tell: Say) -> None:
    """A recording is not taken for a bench that is no TOML."""
    more = {"map": (), "where": ("0x4",)}[verb]
    assert tell(verb, light, *more, code=2) == (
        f"busbox: {light}: is a recording; this verb takes a bench only\n"
    )


@pytest.mark.parametrize("words", [("run",), ("why", "access.0"), ("state", "--at", "1")])
def test_a_spoiled_recording_is_told_by_every_verb(
    words: tuple[str, ...], tell: Say, tmp_path: Path
) -> None:
    """No recording, none there, an older one: one line each."""
    file = tmp_path / "noon.recording.npz"
    verb, *more = words
    told = f"busbox: {file}: cannot be read: No such file or directory\n"
    assert tell(verb, str(file), *more, code=2) == told
    file.write_bytes(b"lever 1\n")
    assert tell(verb, str(file), *more, code=2) == f"busbox: {file}: is not a Busbox recording\n"
    facts = json.dumps({"kind": "recording", "version": 2}).encode()
    np.savez(file, facts=np.frombuffer(facts, dtype="u1"))
    assert tell(verb, str(file), *more, code=2) == (
        f"busbox: {file}: has version 2; this Busbox reads version 7; it lacks facts that judging "
        "needs, so run its bench again\n"
    )
