"""Benches as tests of pytest: run by pytest's own ``pytester``."""

from __future__ import annotations

import subprocess
import sys
from xml.etree import ElementTree

import pytest

pytest_plugins = ("pytester",)
pytestmark = pytest.mark.quick

BENCH = """\
clock = "16 MHz"
strict = true

[slot.levers]
model = "gpio"
base = 0x4000_0000
size = 0x1000

[traffic]
file = "cabin.steps"

[[expect]]
level = { pin = "levers.out.0", is = 1 }

[[expect]]
register = { of = "levers.OUT", is = 2 }
"""
STEPS = "write levers.OUT 1\nwrite 0x50000000 1\n"
#: The words of ``busbox run``: whole lines.
WORDS = "not met  register levers.OUT at the end is 0x2; seen: 0x1"
NAMES = ["run", "expect.0 level of levers.out.0", "expect.1 register of levers.OUT", "no finding"]


@pytest.fixture
def cabin(pytester: pytest.Pytester) -> pytest.Pytester:
    """Return a project with one bench, of whose four tests two fail."""
    folder = pytester.mkdir("cabin")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "cabin.steps").write_text(STEPS, encoding="utf-8")
    return pytester


def test_a_bench_is_a_test_for_its_run_each_expectation_and_its_findings(
    cabin: pytest.Pytester,
) -> None:
    """Failures print the words of ``busbox run`` and no traceback."""
    done = cabin.runpytest_subprocess("--busbox", "cabin", "-v", "-p", "no:cacheprovider")
    done.assert_outcomes(passed=2, failed=2)
    out = done.stdout.str()
    for name in NAMES:
        assert f"cabin/bench.toml::{name} " in out
    assert f"\n{WORDS}\n" in out
    assert "\nFindings: 1\n  unmapped-access  finding.0\n" in out
    assert "Traceback" not in out
    assert "bench_items.py" not in out


def test_without_being_asked_the_plug_in_does_nothing(cabin: pytest.Pytester) -> None:
    """A bench is no test unless the option or the ini file asks for it."""
    cabin.runpytest_subprocess("cabin").assert_outcomes()
    cabin.makeini("[pytest]\nbusbox = true\n")
    cabin.runpytest_subprocess("cabin").assert_outcomes(passed=2, failed=2)


def test_two_workers_and_junit_xml(cabin: pytest.Pytester) -> None:
    """With ``-n 2`` and ``--junitxml`` the outcome and the words are the same."""
    done = cabin.runpytest_subprocess("--busbox", "cabin", "-n", "2", "--junitxml=out.xml")
    done.assert_outcomes(passed=2, failed=2)
    root = ElementTree.parse(cabin.path / "out.xml").getroot()
    cases = {case.get("name"): case.find("failure") for case in root.iter("testcase")}
    assert sorted(str(name) for name in cases) == sorted(NAMES)
    failure = cases[NAMES[2]]
    assert failure is not None
    assert failure.text == WORDS


def test_a_bench_with_a_mistake_is_one_clear_error(cabin: pytest.Pytester) -> None:
    """What is wrong with a bench is printed as ``busbox run`` prints it; bad TOML gives one test."""
    bench = cabin.path / "cabin" / "bench.toml"
    bench.write_text(BENCH.replace("base =", "bass ="), encoding="utf-8")
    done = cabin.runpytest_subprocess("--busbox", "cabin/bench.toml::run")
    done.assert_outcomes(failed=1)
    assert "bench.toml:6: slot.levers.bass: unknown key 'bass'; did you mean 'base'?" in (
        done.stdout.str()
    )
    assert "Traceback" not in done.stdout.str()
    bench.write_text("clock =\n", encoding="utf-8")
    done = cabin.runpytest_subprocess("--busbox", "cabin")
    done.assert_outcomes(failed=1)
    assert "bench.toml:1: is not " in done.stdout.str()


def test_a_bench_runs_once_for_all_its_tests(cabin: pytest.Pytester) -> None:
    """Four tests of a bench share one run."""
    cabin.makeconftest(
        """
        from busbox.bench.bench import Bench
        run = Bench.run
        def counting(self, *args, **options):
            print("a run of", self.name)
            return run(self, *args, **options)
        Bench.run = counting
        """
    )
    done = cabin.runpytest_subprocess("--busbox", "cabin", "-s")
    assert done.stdout.str().count("a run of cabin") == 1


def test_the_fixture_runs_a_bench_from_python(cabin: pytest.Pytester) -> None:
    """``busbox_run`` gives a judged recording; a mistake fails the test with our words alone."""
    cabin.makepyfile(
        """
        def test_level(busbox_run):
            recording = busbox_run("cabin", set={"slot.levers.width": 4})
            assert [verdict.met for verdict in recording.verdicts] == [True, False, False]
            assert recording.counts["unmapped-access"]

        def test_mistake(busbox_run):
            busbox_run("cabin", set={"slot.levers.width": 99})
        """
    )
    done = cabin.runpytest_subprocess()
    done.assert_outcomes(passed=1, failed=1)
    assert "--set: slot.levers.width: must be a whole number from 1 to 32, not 99" in (
        done.stdout.str()
    )
    assert "plugin.py" not in done.stdout.str()
    assert "During handling" not in done.stdout.str()


def test_the_plug_in_loads_no_library_until_it_is_asked() -> None:
    """Loading the plug-in imports neither Amaranth, NumPy nor pydantic."""
    probe = (
        "import sys, busbox.testing.plugin\n"
        "print(sorted({'amaranth', 'numpy', 'pydantic', 'click'} & sys.modules.keys()))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, encoding="utf-8", check=True
    )
    assert done.stdout == "[]\n"


def test_strict_in_a_bench_makes_busbox_run_fail_as_the_option_does(
    cabin: pytest.Pytester,
) -> None:
    """Exit code 1 where anything is found, although every expectation is met."""
    bench = cabin.path / "cabin" / "bench.toml"
    met = BENCH.replace("is = 2", "is = 1")
    for text, code in ((met, 1), (met.replace("strict = true", "strict = false"), 0)):
        bench.write_text(text, encoding="utf-8")
        done = cabin.run(sys.executable, "-m", "busbox", "run", "cabin")
        assert done.ret == code
