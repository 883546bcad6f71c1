"""Recordings that cannot be loaded or saved."""

from __future__ import annotations

import gc
import json
import warnings
from pathlib import Path

import numpy as np
import pytest

from busbox import InputError, Recording, load_bench


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
    assert refusal(file) == "TMP/noon.recording.npz: is no recording"


def test_a_recording_that_was_cut_is_none(good: Path, tmp_path: Path) -> None:
    """Half a recording is no recording."""
    file = tmp_path / "noon.recording.npz"
    contents = good.read_bytes()
    file.write_bytes(contents[: len(contents) // 2])
    assert refusal(file) == "TMP/noon.recording.npz: is no recording"


def test_an_archive_of_other_columns_is_no_recording(tmp_path: Path) -> None:
    """An archive without a recording's facts is none."""
    file = tmp_path / "noon.recording.npz"
    np.savez(file, levers=np.zeros(4))
    assert refusal(file) == "TMP/noon.recording.npz: is no recording"


def test_a_file_of_another_kind_is_refused(good: Path, tmp_path: Path) -> None:
    """The kind that was found and the one expected are told."""
    file = tmp_path / "noon.recording.npz"
    with_facts(good, file, kind="timetable")
    told = "TMP/noon.recording.npz: must be of the kind 'recording', not 'timetable'"
    assert refusal(file) == told


def test_a_newer_version_is_refused(good: Path, tmp_path: Path) -> None:
    """The version that was found and the one that can be read are told."""
    file = tmp_path / "noon.recording.npz"
    with_facts(good, file, version=4)
    told = "TMP/noon.recording.npz: has version 4; this Busbox reads version 1, 2 or 3"
    assert refusal(file) == told


def test_a_recording_is_saved_under_its_own_suffix_only(good: Path, tmp_path: Path) -> None:
    """Another name is refused, and nothing is written."""
    with pytest.raises(InputError) as raised:
        Recording.load(good).save(tmp_path / "noon.npz")
    told = "TMP/noon.npz: a recording's name must end in .recording.npz"
    assert str(raised.value).replace(str(tmp_path), "TMP") == told
    assert not list(tmp_path.iterdir())
