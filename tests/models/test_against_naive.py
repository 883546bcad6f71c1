"""Busbox against a naive model of bus and devices, one cycle at a time, written from the pages."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings

from tests.against_naive import Plan, differences, expected
from tests.plans import DRAWN, plans

_RELAXED = {
    "deadline": None,
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
}


@pytest.mark.quick
@settings(max_examples=100, **_RELAXED)
@given(plan=plans())
def test_any_traffic_on_any_map_is_as_the_page_says(plan: Plan) -> None:
    """Accesses, pins, events, frames, texts, registers and the end equal the naive model's."""
    assert differences(plan) == []


@pytest.mark.parametrize("device", sorted(DRAWN))
def test_each_device_alone_is_as_its_table_says(device: str) -> None:
    """A device that meets dense traffic of its own equals the naive one, to the cycle."""

    @settings(max_examples=40, **_RELAXED)
    @given(plan=plans(devices=(device,), most=40))
    def check(plan: Plan) -> None:
        assert differences(plan) == []

    check()


def test_a_reset_after_the_last_step_lets_the_run_end_as_soon_as_all_is_at_rest() -> None:
    """A byte that a reset cut is not waited for (found by the thousands below)."""
    plan: Plan = {
        "clock_hz": 1_000_000,
        "hang_after": 30,
        "settle": 100_000,
        "after_reset": "continue",
        "until": None,
        "fabric": {"unanswered": "error", "watchdog": None, "registered_decode": False},
        "slots": [
            {
                "name": "uart_0", "device": "uart", "base": 0x1000, "size": 16, "decode": "full",
                "compare": [], "wait": 0, "settings": {"divisor": 4},
            }
        ],
        "steps": [{"op": "write", "address": 0x1000, "lanes": 15, "wait": 0, "data": 0x41}],
        "inputs": [],
        "resets": [{"at": 20, "length": 1}],
    }  # fmt: skip
    assert expected(plan)["cycles"] == 23
    assert differences(plan) == []


def test_an_await_whose_first_cycle_a_handler_took_is_cut_off_by_a_reset() -> None:
    """It has begun, as a pause would have (found by a drawn plan); so no step is left."""
    plan: Plan = {
        "clock_hz": 1_000_000,
        "hang_after": 30,
        "settle": 1,
        "after_reset": "continue",
        "until": 300,
        "fabric": {"unanswered": "error", "watchdog": None, "registered_decode": False},
        "slots": [
            {
                "name": "uart_0", "device": "uart", "base": 4096, "size": 16, "decode": "full",
                "compare": [], "wait": 0, "settings": {"divisor": 1},
            }
        ],
        "steps": [{"op": "await", "pin": "uart_0.tx", "level": 0, "limit": 1}],
        "handlers": [
            {
                "pin": "uart_0.tx", "enter": 0, "leave": 0,
                "steps": [{"op": "write", "address": 4096, "lanes": 15, "wait": 0, "data": 0}],
            }
        ],
        "inputs": [],
        "wires": [],
        "resets": [{"at": 2, "length": 1}],
    }  # fmt: skip
    assert expected(plan)["cycles"] == 5
    assert differences(plan) == []


def test_a_stop_sample_in_the_last_cycle_is_reported() -> None:
    """A break whose stop sample is the last cycle of the run (found by the thousands below)."""
    plan: Plan = {
        "clock_hz": 1_000_000,
        "hang_after": 30,
        "settle": 100_000,
        "after_reset": "restart",
        "until": 25,
        "fabric": {"unanswered": "error", "watchdog": None, "registered_decode": False},
        "slots": [
            {
                "name": "uart_0", "device": "uart", "base": 0x1000, "size": 16, "decode": "full",
                "compare": [], "wait": 0, "settings": {"divisor": 2},
            }
        ],
        "steps": [{"op": "pause", "cycles": 99}],
        "inputs": [{"cycle": 3, "pin": "uart_0.rx", "level": 0}],
        "resets": [],
    }  # fmt: skip
    # The fall is synchronised in 5; the samples stand in 5 + 1 + 2 k, the last one in 24.
    assert expected(plan)["events"] == [(24, "uart_0", "framing", -1)]
    assert differences(plan) == []
    assert expected(plan | {"until": 24})["events"] == []
    assert differences(plan | {"until": 24}) == []


@pytest.mark.long
@settings(max_examples=5000, **_RELAXED)
@given(plan=plans(most=60))
def test_thousands_of_plans_are_as_the_page_says(plan: Plan) -> None:
    """The same property, over thousands of plans."""
    assert differences(plan) == []
