"""A program that a trap ends: what the verdict and the hint say."""

from __future__ import annotations

import pytest

from busbox import load_bench
from busbox.report.verdict import is_good, verdict_lines
from tests.cli.saying import say

pytestmark = pytest.mark.quick


def test_the_verdict_says_that_a_trap_ended_the_program(capsys: pytest.CaptureFixture[str]) -> None:
    """A run whose program dies is not called done, in the terminal nor on the page."""
    said = say(capsys, "run", "mistakes/runaway", "--brief")
    assert said.startswith("runaway: ended by a trap after 136.8 us")
    run = load_bench("mistakes/runaway").run()
    assert next(verdict_lines(run)).startswith("A trap that nothing handles ended the program")
    assert run.trapped
    assert not is_good(run)
    assert not load_bench("mistakes/runaway").run(until=500).trapped


def test_the_hint_of_an_access_beside_a_memory_names_the_memory() -> None:
    """Four bytes below the stack's memory, no slot is suggested: the next one is far away."""
    run = load_bench("mistakes/runaway").run()
    (found,) = (one for one in run.findings if one.rule == "unmapped-access")
    assert found.hint.startswith("The core's memory 0x20000000..0x200000ff is nearer than any slot")
