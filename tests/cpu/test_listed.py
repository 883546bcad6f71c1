"""Long traffic is parsed once, and played from the start as often as asked."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

import busbox.basics.growing
import busbox.cpu.listed
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import AccessStep, Mark, Step
from busbox.cpu.table import TABLE, AccessTable, steps_of

ROWS = st.lists(
    st.tuples(st.booleans(), st.just(64), st.integers(0, 9), st.just(15), st.integers(0, 9),
              st.integers(-1, 9), st.integers(-1, 9)),
    min_size=1, max_size=6,
)  # fmt: skip
PIECES = st.one_of(
    ROWS.map(lambda rows: AccessTable(dict(zip(TABLE, zip(*rows, strict=True), strict=True)))),
    st.builds(Mark, st.sampled_from(("down", "up"))),
)


@given(pieces=st.lists(PIECES, max_size=9), kept=st.integers(0, 9))
def test_traffic_comes_back_as_it_was_read(pieces: list[Step | AccessTable], kept: int) -> None:
    """Each time it is played, the steps are those read, and only many single ones are read again."""
    reads = 0

    def read() -> Iterator[Step | AccessTable]:
        nonlocal reads
        reads += 1
        yield from pieces

    whole = list(steps_of(pieces))
    alone = sum(not isinstance(piece, AccessTable) for piece in pieces)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(busbox.basics.growing, "IN_MEMORY", 64)
        patch.setattr(busbox.cpu.listed, "KEPT_STEPS", kept)
        source = ListedSource(read)
        again = source.again()
        for one in (source, again):
            assert list(steps_of(one.pieces())) == whole
            assert list(steps_of(iter(one.take, None))) == whole  # type: ignore[arg-type]
    assert source.count == len(whole)
    assert reads == (1 if alone <= kept else 5)


def test_a_long_file_of_accesses_is_parsed_once() -> None:
    """Accesses in tables, however many, are kept as numbers."""
    size = busbox.cpu.listed.KEPT_STEPS + 1
    rows = AccessTable({name: [0] * size for name in TABLE})
    given = iter([[rows]])  # a second call would raise StopIteration
    source = ListedSource(lambda: next(given))
    first = next(iter(source.again().pieces()))
    assert isinstance(first, AccessTable)
    assert len(first) == source.count == size
    assert next(first.steps()) == AccessStep(False, 0, 0, 0, 0, 0, 0)
