"""Recordings that cannot be loaded or saved."""

from __future__ import annotations

import gc
import json
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from busbox import InputError, Recording, judge, load_bench


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the file of a good recording."""
    file = tmp_path_factory.mktemp("good") / "noon.recording.npz"
    load_bench("first_light").run(until=50).save(file)
    return file


def with_facts(good: Path, file: Path, **changed: object) -> None:
    """Write a copy of a recording with other facts."""
    with np.load(good) as stored:
        arrays = {name: stored[name] for name in stored.files}
    facts = json.loads(bytes(arrays["facts"])) | changed
    arrays["facts"] = np.frombuffer(json.dumps(facts).encode("utf-8"), dtype="u1")
    np.savez(file, **arrays)  # type: ignore[arg-type]


def refusal(file: Path) -> str:
    """Return what is told of a file, without its folder."""
    told = ""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)  # of an archive that is none, left open
        try:
            Recording.load(file)
        except InputError as error:
            told = str(error)
        gc.collect()
    return told.replace(str(file.parent), "TMP")


def test_the_good_one_is_loaded(good: Path, tmp_path: Path) -> None:
    """A recording that is not spoiled is loaded, and so is a copy with the same facts."""
    file = tmp_path / "noon.recording.npz"
    with_facts(good, file)
    assert Recording.load(file).cycles == Recording.load(good).cycles == 50


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    """A missing file cannot be read."""
    told = "TMP/noon.recording.npz: cannot be read: No such file or directory"
    assert refusal(tmp_path / "noon.recording.npz") == told


def test_a_folder_is_no_recording(tmp_path: Path) -> None:
    """A folder cannot be read."""
    folder = tmp_path / "noon.recording.npz"
    folder.mkdir()
    assert refusal(folder) == "TMP/noon.recording.npz: cannot be read: Is a directory"


@pytest.mark.parametrize("contents", [b"", b"lever 1\n", b"PK\x03\x04 cut"])
def test_a_file_of_another_sort_is_no_recording(tmp_path: Path, contents: bytes) -> None:
    """An empty file, a text and a spoiled archive are none."""
    file = tmp_path / "noon.recording.npz"
    file.write_bytes(contents)
    assert refusal(file) == "TMP/noon.recording.npz: is not a Busbox recording"


def test_a_recording_that_was_cut_is_none(good: Path, tmp_path: Path) -> None:
    """Half a recording is no recording."""
    file = tmp_path / "noon.recording.npz"
    contents = good.read_bytes()
    file.write_bytes(contents[: len(contents) // 2])
    assert refusal(file) == "TMP/noon.recording.npz: is not a Busbox recording"


def test_an_archive_of_other_columns_is_no_recording(tmp_path: Path) -> None:
    """An archive without a recording's facts is none."""
    file = tmp_path / "noon.recording.npz"
    np.savez(file, levers=np.zeros(4))
    assert refusal(file) == "TMP/noon.recording.npz: is not a Busbox recording"


def test_a_file_of_another_kind_is_refused(good: Path, tmp_path: Path) -> None:
    """The kind that was found and the one expected are told."""
    file = tmp_path / "noon.recording.npz"
    with_facts(good, file, kind="timetable")
    told = "TMP/noon.recording.npz: must be of kind 'recording', not 'timetable'"
    assert refusal(file) == told


def test_a_newer_version_is_refused(good: Path, tmp_path: Path) -> None:
    """The version that was found and the one that can be read are told."""
    file = tmp_path / "noon.recording.npz"
    with_facts(good, file, version=8)
    told = "TMP/noon.recording.npz: has version 8; this Busbox reads version 7"
    assert refusal(file) == told


@pytest.mark.parametrize("version", [1, 2, 3, 4, 5, 6])
def test_an_older_version_is_refused(good: Path, tmp_path: Path, version: int) -> None:
    """Why it cannot be read, and what helps, are told."""
    file = tmp_path / "noon.recording.npz"
    with_facts(good, file, version=version)
    told = (
        f"TMP/noon.recording.npz: has version {version}; this Busbox reads version 7; it lacks facts "
        "that judging needs, so run its bench again"
    )
    assert refusal(file) == told


@pytest.mark.parametrize(
    "name",
    ["../noon.steps", "0/../../noon.steps", "/noon.steps", "0//noon", "C:/noon", "0\\noon", ""],
)
def test_a_recording_whose_files_would_be_unpacked_elsewhere_is_refused(
    good: Path, tmp_path: Path, name: str
) -> None:
    """A name that leads out of the folder is told, and nothing is unpacked."""
    file = tmp_path / "noon.recording.npz"
    with np.load(good) as stored:
        arrays = {key: stored[key] for key in stored.files}
    arrays[f"file/{name}"] = np.zeros(1, dtype="u1")
    facts = json.loads(bytes(arrays["facts"]))
    facts["carried"]["files"].append(name)
    arrays["facts"] = np.frombuffer(json.dumps(facts).encode("utf-8"), dtype="u1")
    np.savez(file, **arrays)  # type: ignore[arg-type]
    told = f"contains a file whose name leads out of its folder, {name!r}"
    assert refusal(file) == f"TMP/noon.recording.npz: {told}"


@pytest.mark.parametrize(
    "changed",
    [
        {"bench": 3}, {"cycles": "50"}, {"cycles": 0}, {"clock_hz": True}, {"ended": "never"},
        {"registers": []}, {"registers": {"levers": 3}}, {"counts": {"framing": 1}}, {"slots": []},
        {"polls_given_up": [{"access": "0", "mask": 1, "value": 1, "limit": 1}]},
        {"polls_given_up": [{"access": 0}]}, {"breaches": 3}, {"handler_storm": {"since": 3}},
        {"quiet_since": "3"}, {"carried": {"tables": 3}}, {"carried": 3}, {"findings": [3]},
        {"events": [[1, "levers", 3, -1, {}]]}, {"seen": {"string": {}}}, {"supply_note": None},
        {"directions": {"levers.out.0": "output", "levers.no": "output"}}, {"run_notes": None},
    ],
)  # fmt: skip
def test_a_recording_whose_facts_are_of_another_type_is_told(
    good: Path, tmp_path: Path, changed: dict[str, object]
) -> None:
    """What is no number, text or table where one must be is told at once, not when it is used."""
    file = tmp_path / "noon.recording.npz"
    with_facts(good, file, **changed)
    assert refusal(file) == "TMP/noon.recording.npz: is an incomplete recording"


@pytest.mark.parametrize(
    ("column", "values"),
    [
        ("access/end", [1]), ("access/terminator", None), ("access/slot", None),
        ("pin/lamps.line/levels", []), ("text/telegraph/bytes", [1]),
    ],
)  # fmt: skip
def test_a_recording_whose_columns_do_not_fit_is_told(
    good: Path, tmp_path: Path, column: str, values: list[int] | None
) -> None:
    """A column that is too short, and numbers of terminators and slots that there are not."""
    file = tmp_path / "noon.recording.npz"
    with np.load(good) as stored:
        arrays = {name: stored[name] for name in stored.files}
    kind = arrays[column].dtype
    wrong = np.full(len(arrays[column]), 99, kind) if values is None else np.array(values, kind)
    np.savez(file, **(arrays | {column: wrong}))  # type: ignore[arg-type]
    assert refusal(file) == "TMP/noon.recording.npz: is an incomplete recording"


@pytest.mark.parametrize(
    "part",
    ["polls_given_up", "awaits_given_up", "handler_storm", "breaches", "quiet_since", "stopped_on",
     "carried", "findings", "verdicts", "seen", "supply_note", "run_notes"],
)  # fmt: skip
def test_a_recording_without_one_of_its_facts_is_told(
    good: Path, tmp_path: Path, part: str
) -> None:
    """A fact that is missing is not taken for one that did not happen."""
    file = tmp_path / "noon.recording.npz"
    with np.load(good) as stored:
        arrays = {key: stored[key] for key in stored.files}
    facts = json.loads(bytes(arrays["facts"]))
    del facts[part]
    arrays["facts"] = np.frombuffer(json.dumps(facts).encode("utf-8"), dtype="u1")
    np.savez(file, **arrays)  # type: ignore[arg-type]
    assert refusal(file) == "TMP/noon.recording.npz: is an incomplete recording"


def test_a_recording_is_saved_under_its_own_suffix_only(good: Path, tmp_path: Path) -> None:
    """Another name is refused, and nothing is written."""
    with pytest.raises(InputError) as raised:
        Recording.load(good).save(tmp_path / "noon.npz")
    told = "TMP/noon.npz: a recording's name must end in .recording.npz"
    assert str(raised.value).replace(str(tmp_path), "TMP") == told
    assert not list(tmp_path.iterdir())


def test_files_that_cannot_be_unpacked_are_told(tmp_path: Path) -> None:
    """A file where a folder must be: one sentence, and nothing is left behind."""
    recording = load_bench("first_light").run(until=50)
    assert recording.carried is not None
    carried = replace(recording.carried, files={"0": b"", **recording.carried.files})
    with pytest.raises(InputError, match="the files of the recording cannot be unpacked: "):
        judge(replace(recording, carried=carried))
