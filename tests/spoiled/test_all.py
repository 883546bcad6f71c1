"""All the bad inputs of this folder together."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.saying import plain_environment
from tests.spoiled import (
    test_benches,
    test_columns,
    test_command_line,
    test_function_files,
    test_many,
    test_memory_images,
    test_model_files,
    test_pins,
    test_set,
    test_steps,
    test_syntax,
)
from tests.spoiled.cabin import Spoiled, contents_of, without_lists

CASES: tuple[Spoiled, ...] = (
    *test_benches.CASES,
    *test_columns.CASES,
    *test_command_line.CASES,
    *test_function_files.CASES,
    *test_many.CASES,
    *test_memory_images.CASES,
    *test_model_files.CASES,
    *test_pins.CASES,
    *test_set.CASES,
    *test_steps.CASES,
    *test_syntax.CASES,
)
#: Words that are Python's or a library's, not those of the person who reads.
JARGON = ("Traceback", "pydantic", "Errno", "NoneType", "dict", "codec", "Exceeds", "literal")


@pytest.mark.quick
def test_there_are_many_cases_and_many_messages() -> None:
    """At least 300 bad inputs give at least 200 different messages, each place left aside."""
    lines = {line for case in CASES for line in case.told.splitlines()}
    messages = {re.sub(r"^busbox: (?:\S+?:(?:\d+:)? )*", "", line) for line in lines}
    assert len(CASES) >= 300
    assert len(messages) >= 200


@pytest.mark.quick
def test_every_sentence_is_its_own() -> None:
    """No two cases of a file say the same."""
    for module in (test_benches, test_columns, test_command_line, test_set, test_steps):
        sentences = [case.says for case in module.CASES]
        assert len(sentences) == len(set(sentences))


@pytest.mark.quick
@pytest.mark.parametrize("word", JARGON)
def test_no_message_has_the_words_of_a_library(word: str) -> None:
    """What is told is told in plain English."""
    assert not [case.told for case in CASES if word in case.told]


@pytest.mark.quick
def test_every_line_that_is_told_has_the_same_form() -> None:
    """Each line begins with the command's name, has no full stop, and is not empty."""
    for case in CASES:
        assert case.told.endswith("\n")
        for line in case.told.splitlines():
            assert re.fullmatch(r"busbox: \S.*[^.\s]|busbox: .*\.\.\.", line), line


@pytest.mark.parametrize(
    "spoiled",
    [
        test_benches.CASES[0],
        test_syntax.CASES[0],
        test_many.CASES[0],
        test_set.CASES[0],
        test_function_files.CASES[7],
        test_command_line.CASES[0],
        test_command_line.CASES[3],
        test_memory_images.CASES[0],
    ],
    ids=lambda case: case.says,
)
def test_a_process_tells_the_same(spoiled: Spoiled, tmp_path: Path) -> None:
    """The command itself, in a process of its own, tells the same and leaves with 2."""
    spoiled.lay_out(tmp_path)
    before = contents_of(tmp_path)
    done = subprocess.run(
        [sys.executable, "-c", "import busbox.cli; busbox.cli.main()", *spoiled.args],
        cwd=tmp_path,
        # Other libraries open files without naming an encoding; that warning is not ours.
        env=plain_environment(),
        capture_output=True,
        encoding="utf-8",
        timeout=60,
    )
    assert without_lists(done.stderr) == spoiled.told
    assert done.stdout == ""
    assert done.returncode == 2
    assert contents_of(tmp_path) == before
