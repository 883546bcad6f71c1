"""Rules about registers are asked once for each kind of access."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from busbox import load_bench
from busbox.cpu.steps import AccessStep
from busbox.findings.registers import acknowledged
from busbox.findings.rule import RunFacts
from busbox.map.slots import Decoded

PLACES = (0x4000_0000, 0x4000_0004, 0x4000_0010, 0x4000_1004, 0x4400_0008, 0x7000_0000)
KINDS = st.tuples(st.booleans(), st.sampled_from(PLACES), st.integers(0, 15))


@settings(max_examples=25, deadline=None)
@given(kinds=st.lists(KINDS, min_size=1, max_size=30), chosen=st.sets(KINDS))
def test_the_accesses_of_a_kind_are_found_and_no_other(
    kinds: list[tuple[bool, int, int]], chosen: set[tuple[bool, int, int]]
) -> None:
    """Every acknowledged access of a kind for which the filter is true is yielded, in order."""
    bench = load_bench("first_light")
    steps = [AccessStep(write, place, 0 if write else None, lanes) for write, place, lanes in kinds]
    system = bench.system(steps)
    recording = bench.run(traffic=steps, engine="python")
    asked: list[tuple[bool, int, int]] = []

    def applies(found: Decoded, write: bool, lanes: int) -> bool:
        asked.append((write, found.address, lanes))
        return asked[-1] in chosen

    numbers = list(acknowledged(RunFacts(system, recording, {}), applies))
    one = recording.accesses
    naive = [
        place for place, kind in enumerate(kinds)
        if one.terminators[place] == "ack" and one.slot[place] >= 0 and kind in chosen
    ]  # fmt: skip
    assert numbers == naive
    assert len(asked) == len(set(asked))
