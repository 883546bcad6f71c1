"""The engines ``python`` and ``llvm`` against ``reference``, which is the judge."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox import Bench, Recording, load_bench
from busbox.basics.errors import BusboxError, InputError
from busbox.bench.find import benches_of
from busbox.cpu.steps import Pause
from busbox.device.twins import twin_of
from busbox.engines import FEW_STEPS, engine_class, for_many_runs, preferred
from busbox.explain.difference import first_difference
from tests.against_naive import Plan, bench_of
from tests.models.test_twins import BENCHES, as_hardware
from tests.plans import plans

FAST = ("python", "llvm")
#: Cycles of signal_cabin in a quick run: the first 400 accesses.
CUT = 6_000

_RELAXED = {
    "deadline": None,
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
}


def packaged() -> list[str]:
    """Return every bench that comes with Busbox."""
    mistakes = benches_of("mistakes")
    assert mistakes
    return ["first_light", "edges", "interrupted", "word_lamps", *map(str, mistakes)]


def combinations() -> list[tuple[str, tuple[str, ...]]]:
    """Return every bench with its models, all in hardware, and each slot alone in hardware."""
    found: list[tuple[str, tuple[str, ...]]] = [(name, ()) for name in packaged()]
    for name, slots in BENCHES.items():
        found += [(name, slots), *((name, (slot,)) for slot in slots)]
    return found


def findings(recording: Recording) -> list[tuple[Any, ...]]:
    """Return findings, but for the one sentence that needs a proof."""
    return [
        (one.rule, one.cycle, one.access, one.message.partition(" Nothing has moved")[0])
        for one in recording.findings
        if one.rule != "bus-hang"
    ] + [(one.rule, one.cycle, one.access) for one in recording.findings if one.rule == "bus-hang"]


def agree(one: Recording, other: Recording) -> None:
    """Assert that two recordings are equal in everything."""
    assert str(first_difference(one, other)) == "None"
    assert findings(one) == findings(other)
    assert one.counts == other.counts
    assert [verdict.met for verdict in one.verdicts] == [verdict.met for verdict in other.verdicts]
    assert one.cycles == other.cycles
    assert one.resets == other.resets


@cache
def reference(name: str, slots: tuple[str, ...], until: int | None = None) -> Recording:
    """Return what the judge records."""
    return load_bench(name).with_values(as_hardware(*slots)).run("reference", until)


def some_quick() -> list[Any]:
    """Return the combinations; first_light, with models and all in hardware, is run by make quick."""
    quick = {("first_light", ()), ("first_light", BENCHES["first_light"])}
    return [
        pytest.param(*one, marks=[pytest.mark.quick] if one in quick else [])
        for one in combinations()
    ]


@pytest.mark.parametrize(
    ("name", "slots"), some_quick(), ids=lambda one: Path(one).stem if isinstance(one, str) else
    "+".join(one) or "models",
)  # fmt: skip
def test_every_bench_is_recorded_alike(name: str, slots: tuple[str, ...]) -> None:
    """A bench that comes with Busbox, with models, with hardware and mixed, is recorded alike."""
    for engine in FAST:
        recording = load_bench(name).with_values(as_hardware(*slots)).run(engine)
        assert recording.engine == engine
        agree(reference(name, slots), recording)


@pytest.mark.parametrize("slots", [(), ("levers", "telegraph", "lamps", "clock")])
def test_the_beginning_of_the_cabin_is_recorded_alike(slots: tuple[str, ...]) -> None:
    """Real firmware, with models and with hardware, on all three engines."""
    expected = reference("signal_cabin", slots, CUT)
    assert len(expected.accesses) > 350
    for engine in FAST:
        bench = load_bench("signal_cabin").with_values(as_hardware(*slots))
        agree(expected, bench.run(engine, CUT))


@pytest.mark.long
@pytest.mark.parametrize("engine", FAST)
@pytest.mark.parametrize("slots", [(), ("levers", "telegraph", "lamps", "clock")])
def test_the_whole_cabin_is_recorded_alike(slots: tuple[str, ...], engine: str) -> None:
    """All 58,479 accesses of real firmware, with models and with hardware."""
    bench = load_bench("signal_cabin").with_values(as_hardware(*slots))
    agree(reference("signal_cabin", slots), bench.run(engine))


def run_on(plan: Plan, values: list[str], engine: str) -> Recording:
    """Run a drawn plan."""
    return bench_of(plan).with_values(values).run(engine, plan["until"])


def hardware(plan: Plan, chosen: list[bool]) -> list[str]:
    """Return the values that put some devices of a plan into hardware, those that have a twin."""
    values = []
    for slot, wanted in zip(plan["slots"], chosen, strict=False):
        name = slot["name"]
        device = next(one for one in bench_of(plan).devices() if one.name == name)
        twin = twin_of(device.model, device.kind) if getattr(device.model, "twin", None) else None
        if wanted and twin is not None and slot["wait"] >= twin.least_wait:
            values.append(f"slot.{name}.as=hardware")
    return values


MIXED = st.lists(st.booleans(), min_size=4, max_size=4)


@settings(max_examples=20, **_RELAXED)
@given(plan=plans(), chosen=MIXED)
def test_any_traffic_is_recorded_alike_by_python(plan: Plan, chosen: list[bool]) -> None:
    """Holds, resets, handlers, awaits, wires, any map and any mix of models and hardware."""
    check(plan, chosen, "python")


@settings(max_examples=6, **_RELAXED)
@given(plan=plans(), chosen=MIXED)
def test_any_traffic_is_recorded_alike_by_llvm(plan: Plan, chosen: list[bool]) -> None:
    """The same, as machine code."""
    check(plan, chosen, "llvm")


@pytest.mark.long
@pytest.mark.parametrize("engine", FAST)
def test_thousands_of_plans_are_recorded_alike(engine: str) -> None:
    """The same for 3,000 plans."""

    @settings(max_examples=3000, derandomize=False, **_RELAXED)
    @given(plan=plans(most=60), chosen=MIXED)
    def many(plan: Plan, chosen: list[bool]) -> None:
        check(plan, chosen, engine)

    many()


def check(plan: Plan, chosen: list[bool], engine: str) -> None:
    """Assert that an engine records a plan as the judge does."""
    values = hardware(plan, chosen)
    outcomes = [outcome(plan, values, name) for name in ("reference", engine)]
    if isinstance(outcomes[0], Recording) and isinstance(outcomes[1], Recording):
        agree(outcomes[0], outcomes[1])
    else:
        assert outcomes[0] == outcomes[1]


def outcome(plan: Plan, values: list[str], engine: str) -> Recording | str:
    """Return the recording, or the message of a refusal."""
    try:
        return run_on(plan, values, engine)
    except BusboxError as error:
        return str(error)


@pytest.mark.parametrize(
    ("bench", "values", "steps", "expected"),
    [
        ("first_light", (), FEW_STEPS, "python"),
        ("first_light", (), FEW_STEPS + 1, "llvm"),
        ("first_light", ("slot.levers.as=hardware",), 1, "llvm"),
        ("signal_cabin", (), None, "llvm"),
    ],
)
def test_auto_is_the_engine_that_will_be_quickest(
    monkeypatch: pytest.MonkeyPatch,
    bench: str,
    values: tuple[str, ...],
    steps: int | None,
    expected: str,
) -> None:
    """A few steps on models alone are played in Python, all else in machine code if it can be made."""
    monkeypatch.undo()
    traffic = None if steps is None else [Pause(1)] * steps
    system = Bench.load(bench).with_values(values).system(traffic)
    assert preferred(system) == expected
    assert engine_class()(system, lambda slot, access: 0, {}).name == expected
    assert for_many_runs(engine_class())(system, lambda slot, access: 0, {}).name == "llvm"
    monkeypatch.setattr("busbox.engines.find_spec", lambda name: None)
    assert preferred(system) == "python"


def test_machine_code_by_name_needs_its_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked for by name, an engine that is not installed is refused with what to do."""
    monkeypatch.undo()
    monkeypatch.setattr("busbox.engines.find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"needs llvmlite.*busbox\[fast\].*--engine python"):
        engine_class("llvm")
