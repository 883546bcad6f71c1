"""A saved recording, judged again, says what the run said: no fact is known to the run alone."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from pathlib import Path

import pytest

import busbox
from busbox import Bench, Recording, load_bench
from busbox.bench.find import benches_of, packaged_benches, packaged_sets
from busbox.bench.opening import opened
from busbox.explain.why import Stories
from busbox.exports.json_report import as_object
from busbox.recording import AwaitGivenUp, HandlerStorm, PollGivenUp
from tests.recording.test_recording import same

#: Benches that come with Busbox: name to the folder that holds all that they name.
SHIPPED = {name: file.parent for name, file in packaged_benches().items()} | {
    f"{name}/{file.parent.name}": folder
    for name, folder in packaged_sets().items()
    for file in benches_of(folder) or ()
}
#: What judging fills in, and what it has when nobody has judged.
UNJUDGED = {
    "seen": {}, "supply_note": "", "findings": (), "counts": {}, "verdicts": (), "certain": None,
}  # fmt: skip


def unjudged(recording: Recording) -> Recording:
    """Return the facts of a recording alone."""
    return replace(recording, **UNJUDGED)


@pytest.fixture
def runs(tmp_path: Path) -> Iterator[Callable[..., Recording]]:
    """Return what copies a bench, runs it, saves its facts, deletes the copy and loads the facts."""

    def run(name: str, *values: str) -> tuple[Recording, Recording, list[str]]:
        copy = tmp_path / "copy"
        shutil.copytree(SHIPPED[name], copy)
        bench = load_bench(copy / name.partition("/")[2], outside=True).with_values(values)
        recording = bench.run("python")
        stories = [
            str(Stories(bench.system(), recording).tell(f"finding.{number}"))
            for number in range(len(recording.findings))
        ]
        saved = tmp_path / "elsewhere.recording.npz"
        unjudged(recording).save(saved)
        shutil.rmtree(copy)
        return recording, Recording.load(saved), stories

    return run


def test_every_shipped_bench_is_among_them() -> None:
    """Alone or in a set: no bench file is left out."""
    root = next(iter(packaged_benches().values())).parent.parent
    assert len(SHIPPED) == len(list(root.rglob("bench.toml"))) >= 24


@pytest.mark.parametrize("name", SHIPPED)
def test_a_loaded_recording_is_judged_as_the_run_was(
    name: str, runs: Callable[..., tuple[Recording, Recording, list[str]]]
) -> None:
    """Decoded lines, findings, counts, verdicts and stories are equal, with the bench deleted."""
    recording, facts, stories = runs(name)
    judged = busbox.judge(facts)
    same(judged, recording)
    assert as_object(judged) == as_object(recording)
    assert judged.notes == recording.notes
    with opened(facts) as system:
        told = [
            str(Stories(system, judged).tell(f"finding.{number}"))
            for number in range(len(judged.findings))
        ]
    assert told == stories


@pytest.mark.parametrize("name", ["first_light", "mistakes/registers", "mistakes/waiting", "edges"])
def test_so_is_one_of_hardware(
    name: str, runs: Callable[..., tuple[Recording, Recording, list[str]]]
) -> None:
    """With the devices of all slots as hardware."""
    slots = load_bench(SHIPPED[name] / name.partition("/")[2]).keys["slot"]
    recording, facts, _ = runs(name, *(f"slot.{slot}.as=hardware" for slot in slots))
    same(busbox.judge(facts), recording)


@pytest.mark.parametrize("name", ["signal_cabin", "mistakes/waiting", "bit_banging/interrupted"])
def test_to_judge_twice_gives_the_same(name: str) -> None:
    """Judging replaces what a recording held of it, and takes nothing from there."""
    bench = load_bench(SHIPPED[name] / name.partition("/")[2])
    recording, system = bench.run("python"), bench.system()
    same(busbox.judge(recording, system), recording)
    same(busbox.judge(busbox.judge(unjudged(recording), system), system), recording)


def test_every_kind_of_fact_occurs_in_these_benches() -> None:
    """A poll given up, a broken rule, a quiet bus, a supply: what is compared above is not empty."""
    recordings = [load_bench(file).run("python") for file in benches_of("mistakes") or ()]
    assert any(one.polls_given_up for one in recordings)
    assert any(one.breaches for one in recordings)
    assert any(one.quiet_since is not None for one in recordings)
    assert any(one.supply_note for one in recordings)


LEVERS = {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}


def levers(tmp_path: Path, steps: str, **keys: object) -> Bench:
    """Return a bench of levers with steps from a file."""
    (tmp_path / "noon.steps").write_text(steps, encoding="utf-8")
    tables = {"clock": "1 MHz", "slot": {"levers": LEVERS}, "traffic": {"file": "noon.steps"}}
    return Bench(tables | keys, folder=tmp_path, name="noon")


def test_what_was_given_up_is_a_fact(tmp_path: Path) -> None:
    """A poll with its last read, an await with the last cycle that it looked at; both judged alike."""
    bench = levers(
        tmp_path,
        "poll levers.IN & 0x10 == 0x10 every 4 limit 8\nawait levers.in.4 1 limit 5 us\n"
        "await levers.in.5 1 limit 7\n",
    )
    recording = bench.run()
    (poll,) = recording.polls_given_up
    assert poll == PollGivenUp(access=7, mask=0x10, value=0x10, limit=8)
    free = int(recording.accesses.end[-1]) + 1
    assert recording.awaits_given_up == (
        AwaitGivenUp(free + 4, "levers.in.4", 1, "5 us", 2),
        AwaitGivenUp(free + 11, "levers.in.5", 1, "7 cycles", 3),
    )
    recording.save(tmp_path / "noon.recording.npz")
    (tmp_path / "noon.steps").unlink()
    same(busbox.judge(unjudged(Recording.load(tmp_path / "noon.recording.npz"))), recording)
    assert recording.counts["poll-timeout"] == {
        "levers.IN": 1,
        "levers.in.4": 1,
        "levers.in.5": 1,
    }


def test_a_storm_of_handlers_is_a_fact(tmp_path: Path) -> None:
    """Who stormed, since when, and where it stands; the finding follows from that."""
    bench = levers(
        tmp_path,
        "pause 10\nhandler bell on levers.in.4\n  read levers.IN\nend\n",
        input=[{"at": 3, "pin": "levers.in.4", "level": 1}],
        hang_after=50,
    )
    recording = bench.run()
    assert recording.handler_storm == HandlerStorm(3, "bell", "levers.in.4", 2)
    recording.save(tmp_path / "noon.recording.npz")
    loaded = Recording.load(tmp_path / "noon.recording.npz")
    same(busbox.judge(unjudged(loaded)), recording)
    assert "handler bell ran back to back" in recording.findings[0].message


@pytest.mark.parametrize(
    ("part", "rule"),
    [
        ("polls_given_up", "poll-timeout"),
        ("breaches", "wishbone-rule"),
        ("quiet_since", "bus-hang"),
    ],
)
def test_findings_follow_from_the_facts_of_the_recording(part: str, rule: str) -> None:
    """A recording without one of them is judged otherwise: nothing else tells the rule."""
    for file in benches_of("mistakes") or ():
        bench = load_bench(file)
        recording = bench.run("python")
        if rule not in recording.counts:
            continue
        (field,) = [one for one in fields(Recording) if one.name == part]
        other = busbox.judge(replace(recording, **{part: field.default}), bench.system())
        assert other.findings != recording.findings
        return
    pytest.fail(f"no bench of the set has a finding of {rule}")
