"""A design that was built for one run and is used for the next changes nothing in what is recorded."""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox import Recording, load_bench
from busbox.bench.bench import Bench
from busbox.bus.identity import design_key
from busbox.engines import ENGINES, EngineFactory, engine_class, for_many_runs
from busbox.engines.reference import ReferenceEngine
from busbox.engines.simulation import KeptSimulations, Simulation
from busbox.run.loop import replay
from busbox.system.system import System
from tests.against_naive import Plan, bench_of
from tests.engines.test_engines_agree import MIXED, agree, hardware
from tests.models.test_twins import as_hardware
from tests.plans import plans

EVERY = tuple(name for name in ENGINES if name != "auto")
CASES: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("first_light", ()),
    ("interrupted", ("levers", "telegraph", "lamps")),
    ("edges", ("clock", "lamps", "levers", "telegraph")),
)


def system_of(name: str, slots: tuple[str, ...]) -> System:
    """Return a bench that comes with Busbox, some of its slots in hardware."""
    return load_bench(name).with_values(as_hardware(*slots)).system()


@cache
def keeping(engine: str) -> EngineFactory:
    """Return a factory that has kept what earlier cases of this file built."""
    return for_many_runs(engine_class(engine))


def twice(system: System, factory: EngineFactory, cut: int, until: int | None) -> Recording:
    """Run up to a cycle, where anything may be under way, then from the start, with the same
    factory.
    """
    replay(system, factory, cut)
    return replay(system, factory, until)


@pytest.mark.parametrize("engine", EVERY)
@pytest.mark.parametrize(("name", "slots"), CASES, ids=[name for name, _ in CASES])
def test_a_bench_runs_again_as_it_ran_first(name: str, slots: tuple[str, ...], engine: str) -> None:
    """After a run that was cut in the middle, the same design records what a new one does."""
    system = system_of(name, slots)
    expected = replay(system, engine_class(engine), 900)
    agree(expected, twice(system, keeping(engine), 333, 900))


@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(plan=plans(), chosen=MIXED, cut=st.integers(1, 60))
def test_any_traffic_is_recorded_as_on_a_new_simulator(
    plan: Plan, chosen: list[bool], cut: int
) -> None:
    """Any map, models and hardware, memories too, cut in any cycle: nothing of a run is left."""
    system = bench_of(plan).with_values(hardware(plan, chosen)).system()
    expected = replay(system, ReferenceEngine, plan["until"])
    kept = for_many_runs(ReferenceEngine)
    agree(expected, twice(system, kept, cut, plan["until"]))


def taken(kept: KeptSimulations, system: System, watch: bool = True) -> Simulation:
    """Return a simulator, given back at once."""
    simulated = kept.take(system, watch)
    simulated.start()
    kept.give_back(simulated)
    return simulated


def test_a_simulator_serves_one_run_at_a_time() -> None:
    """While a run has it, another run of the same design gets one of its own."""
    kept, system = KeptSimulations(), system_of("edges", ())
    one, other = kept.take(system, True), kept.take(system, True)
    assert one is not other
    one.start()
    kept.give_back(one)
    assert kept.take(system, True) is one
    other.start()


def test_a_run_that_is_over_has_no_simulator() -> None:
    """What is asked of an engine after its run is an error, and not another run's signal."""
    engine = ReferenceEngine(system_of("first_light", ()), lambda *_: 0, {})
    engine.run(5, idle=True)
    engine.finish()
    with pytest.raises(TypeError):
        engine.run(9, idle=True)


def test_no_more_are_kept_than_there_is_room_for() -> None:
    """The one that has waited longest makes room."""
    kept, systems = (
        KeptSimulations(most=2),
        [small(slot__levers__wait=n).system() for n in range(3)],
    )
    first, second, third = (taken(kept, system) for system in systems)
    assert taken(kept, systems[1]) is second
    assert taken(kept, systems[2]) is third
    assert taken(kept, systems[0]) is not first
    assert taken(kept, systems[2]) is third
    assert taken(kept, systems[1]) is not second


def small(**changes: object) -> Bench:
    """Return a bench of two slots, one in hardware, with keys of them changed."""
    values = {f"{key.replace('__', '.')}={value}" for key, value in changes.items()}
    slots = {
        "levers": {"model": "gpio", "base": 0, "size": 0x40},
        "lamps": {
            "model": "pulse_led",
            "base": 0x1000,
            "size": 0x200,
            "lamps": 2,
            "as": "hardware",
        },
    }
    return Bench({"clock": "1 MHz", "slot": slots, "traffic": []}).with_values(values)


@pytest.mark.parametrize(
    "changes",
    [
        {"slot__levers__base": "0x2000"},
        {"slot__levers__wait": 3},
        {"slot__levers__as": "hardware"},
        {"slot__lamps__as": "model"},
        {"slot__lamps__lamps": 3},
        {"fabric__watchdog": 5},
        {"clock": "2 MHz"},
    ],
    ids=lambda changes: "-".join(changes),
)
def test_what_a_design_depends_on_is_in_its_key(changes: dict[str, object]) -> None:
    """Another place, wait, kind, setting of hardware, fabric or clock is another design."""
    same, other = small().system(), small(**changes).system()
    assert design_key(same) == design_key(small().system())
    assert design_key(same) != design_key(other)
    kept = KeptSimulations()
    assert taken(kept, same) is taken(kept, small().system()) is not taken(kept, other)


def test_what_a_design_does_not_depend_on_is_not_in_its_key() -> None:
    """Other traffic, inputs, or settings of a model in Python are run on the same design."""
    other = small(slot__levers__width=7, settle=9).system([])
    assert design_key(small().system()) == design_key(other)
