"""What the front end gives is kept for the tests of a session: each call of it costs half a second."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox.basics.cache import VARIABLE


@pytest.fixture(scope="session")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a session in which outcomes of the front end are kept."""
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(autouse=True)
def _keeping(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, str(kept))
