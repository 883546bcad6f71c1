"""Recordings: columns, histories, and the file that holds them."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from busbox import InputError, Recording, judge, load_bench
from busbox.recording import COLUMNS
from tests.against_naive import Plan, bench_of
from tests.plans import plans

pytestmark = pytest.mark.quick


def same(one: Recording, other: Recording) -> None:
    """Assert that two recordings hold the same, in every part."""
    for part in fields(Recording):
        left, right = getattr(one, part.name), getattr(other, part.name)
        if part.name == "accesses":
            for column in COLUMNS:
                assert left[column].dtype == right[column].dtype
                assert np.array_equal(left[column], right[column]), column
        elif part.name in ("lines", "characters"):
            assert list(left) == list(right)
            for name in left:
                for piece in fields(left[name]):
                    assert np.array_equal(
                        getattr(left[name], piece.name), getattr(right[name], piece.name)
                    ), (part.name, name, piece.name)
        else:
            assert left == right, part.name


@settings(
    max_examples=30, deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)  # fmt: skip
@given(plan=plans())
def test_a_saved_recording_loads_as_it_was(
    plan: Plan, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Every part of any recording survives the file, and is judged alike; two runs are identical."""
    path = tmp_path_factory.mktemp("saved") / "one.recording.npz"
    bench = bench_of(plan)
    recording = bench.run(until=plan["until"])
    recording.save(path)
    loaded = Recording.load(path)
    same(loaded, recording)
    same(judge(loaded), recording)
    same(bench.run(until=plan["until"]), recording)
    assert [file.name for file in path.parent.iterdir()] == ["one.recording.npz"]


def test_columns_are_reached_by_name_and_as_attributes() -> None:
    """``accesses.end`` and ``accesses["end"]`` are one array; an unknown name says what there is."""
    accesses = load_bench("first_light").run(until=200).accesses
    assert accesses["end"] is accesses.end
    assert len(accesses) == len(accesses.start) > 0
    with pytest.raises(KeyError, match="a column must be one of start, end, address"):
        accesses["stop"]
    assert sum(np.dtype(kind).itemsize for kind in COLUMNS.values()) <= 64


def test_edges_of_an_unknown_pin_say_which_pins_there_are() -> None:
    """A misspelt pin is told, with the names there are."""
    recording = load_bench("first_light").run(until=10)
    with pytest.raises(KeyError, match=r"there is no pin 'lamps\.lime'; the pins are levers\.out"):
        recording.edges("lamps.lime")


def test_a_file_of_another_kind_or_version_is_refused_by_name(tmp_path: Path) -> None:
    """No recording, a wrong kind, a newer version, a wrong suffix: one clear error each."""
    path = tmp_path / "x.recording.npz"
    path.write_bytes(b"no zip")
    with pytest.raises(InputError, match="is not a Busbox recording"):
        Recording.load(path)
    for facts, text in (
        (b'{"kind": "traffic", "version": 1}', "must be of kind 'recording', not 'traffic'"),
        (b'{"kind": "recording", "version": 99}', "has version 99; this Busbox reads version 7"),
    ):
        np.savez(path, facts=np.frombuffer(facts, dtype="u1"))
        with pytest.raises(InputError, match=text):
            Recording.load(path)
    with pytest.raises(InputError, match=r"must end in \.recording\.npz"):
        load_bench("first_light").run(until=10).save(tmp_path / "x.npz")
    with pytest.raises(InputError, match="cannot be read: No such file"):
        Recording.load(tmp_path / "none.recording.npz")
