"""Runs a verb in-process, and the environment of one in a process of its own."""

from __future__ import annotations

import os

import pytest

from busbox.cli import main


def say(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    """Run ``busbox WORDS``; assert its exit code; return what it printed or complained of."""
    with pytest.raises(SystemExit) as ended:
        main(list(words))
    seen = capsys.readouterr()
    assert ended.value.code == code, seen.err
    assert seen.err == "" if code < 2 else seen.out == ""
    return seen.out or seen.err


def plain_environment(**more: str) -> dict[str, str]:
    """Return the environment without what lets Python tell of encodings in the libraries we use."""
    kept = {
        name: value for name, value in os.environ.items() if name != "PYTHONWARNDEFAULTENCODING"
    }
    return kept | more
