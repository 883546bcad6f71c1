"""What the loop records goes through buffers: a full one is emptied, and nothing is lost."""

from __future__ import annotations

import pytest

from busbox import load_bench
from busbox.engines import llvm_layout, python_kernel
from tests.engines.test_engines_agree import FAST, agree, reference
from tests.models.test_twins import as_hardware

CASES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("interrupted", ("levers", "telegraph", "lamps")),
    ("edges", ("clock", "lamps", "levers", "telegraph")),
)


@pytest.mark.usefixtures("built_afresh")
@pytest.mark.parametrize("room", [1, 5])
@pytest.mark.parametrize(("name", "slots"), CASES, ids=["interrupted", "edges"])
@pytest.mark.parametrize("engine", FAST)
def test_a_full_buffer_loses_nothing(
    engine: str,
    name: str,
    slots: tuple[str, ...],
    room: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With room for one or five accesses and records, a run is recorded as by the judge."""
    monkeypatch.setattr(python_kernel, "ROOM", room)
    monkeypatch.setattr(llvm_layout, "ROOM", room)
    agree(load_bench(name).with_values(as_hardware(*slots)).run(engine), reference(name, slots))
