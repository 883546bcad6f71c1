"""The pytest plug-in: it collects benches if ``--busbox`` or the ini option ``busbox`` asks for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from busbox.recording import Recording

_HELP = "Collect every bench.toml as tests: one for the run and one for each expectation."


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add ``--busbox`` and the ini option ``busbox``."""
    parser.getgroup("busbox").addoption("--busbox", action="store_true", help=_HELP)
    parser.addini("busbox", f"{_HELP} true or false.", type="bool", default=False)


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> pytest.Collector | None:
    """Collect a bench, if benches are asked for."""
    asked = parent.config.getoption("--busbox") or parent.config.getini("busbox")
    if file_path.name != "bench.toml" or not asked:
        return None
    from busbox.testing.bench_items import BenchFile

    return BenchFile.from_parent(parent, path=file_path)


@pytest.fixture
def busbox_run(request: pytest.FixtureRequest) -> Callable[..., Recording]:
    """Run a bench and return its recording, judged: ``busbox_run("cabin", set={"supply": "2 A"})``.

    The bench is a folder or file beside the test, or the name of one that comes with Busbox; ``set``
    changes keys as ``--set`` does; all else goes to :meth:`busbox.Bench.run`. A mistake in the bench
    fails the test with the words of ``busbox run``.
    """

    def run(
        bench: str | Path, *, set: Mapping[str, object] | None = None, **options: Any
    ) -> Recording:
        from busbox.basics.errors import InputError
        from busbox.bench.bench import Bench
        from busbox.bench.keys import toml

        beside = request.path.parent / bench
        values = [f"{key}={toml(value)}" for key, value in (set or {}).items()]
        try:
            opened = Bench.load(beside if beside.exists() else bench, outside=True)
            return opened.with_values(values).run(**options)
        except InputError as error:
            mistakes = str(error)
        # Outside the handler: pytest would print the exception being handled too.
        pytest.fail(mistakes, pytrace=False)

    return run
