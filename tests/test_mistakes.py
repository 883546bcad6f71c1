"""The set of benches in which every mistake is made once."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pytest

import busbox.engines
from busbox.bench.find import benches_of
from busbox.cli import main
from busbox.plugins import RULES

pytestmark = pytest.mark.quick


@pytest.fixture(autouse=True)
def _quick_engine(_watch_ports: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(busbox.engines, "preferred", lambda *_: "python")


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[object, str]:
    """Run ``busbox run``; return exit code and output."""
    with pytest.raises(SystemExit) as ended:
        main(["run", *words])
    return ended.value.code, capsys.readouterr().out


def test_every_rule_is_broken_exactly_once(capsys: pytest.CaptureFixture[str]) -> None:
    """Over the whole set each rule occurs once, and nothing else does.

    The stack of runaway leaves its memory for where no slot is: its access is an unmapped one, too.
    """
    code, out = run(capsys, "mistakes", "--json")
    found = json.loads(out)
    assert code == 1  # one of them hangs
    assert isinstance(found, list)
    assert len(found) == len(benches_of("mistakes") or ())
    rules = Counter(finding["rule"] for bench in found for finding in bench["findings"])
    assert rules == Counter([*RULES.built_in, "unmapped-access"])
    for bench in found:
        assert sum(sum(of.values()) for of in bench["counts"].values()) == len(bench["findings"])


def test_every_bench_expects_exactly_its_findings() -> None:
    """Each rule that a bench breaks is expected with its count, and no other: so each is a test."""
    from busbox.bench.bench import Bench

    for file in benches_of("mistakes") or ():
        bench = Bench.load(file)
        recording = bench.run()
        expected = [table["findings"] for table in bench.keys["expect"]]
        counts = {rule: sum(of_rule.values()) for rule, of_rule in recording.counts.items()}
        assert {given["rule"]: given["exactly"] for given in expected} == counts
        assert all(verdict.met for verdict in recording.verdicts)


def test_each_mistake_stands_at_the_line_that_names_it(capsys: pytest.CaptureFixture[str]) -> None:
    """The comment of a step names the rule; a finding with a line points at that step."""
    from busbox.bench.bench import Bench

    for file in benches_of("mistakes") or ():
        recording = Bench.load(file).run()
        if recording.core is not None:  # a program has no lines of traffic
            assert all(finding.line == -1 for finding in recording.findings)
            continue
        lines = file.with_name(recording.traffic).read_text(encoding="utf-8").splitlines()
        for finding in recording.findings:
            if finding.line > 0 and "#" in lines[finding.line - 1]:
                assert finding.rule in lines[finding.line - 1], finding


def test_a_folder_of_benches_prints_one_summary_each(capsys: pytest.CaptureFixture[str]) -> None:
    """Without --json the summaries come one after the other."""
    _, out = run(capsys, "mistakes")
    for file in benches_of("mistakes") or ():
        assert f"\n{file.parent.name}: " in "\n" + out


def test_a_folder_of_benches_has_no_single_waveform(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """--vcd is refused, --out gets a recording of each."""
    with pytest.raises(SystemExit) as ended:
        main(["run", "mistakes", "--vcd", str(tmp_path / "a.vcd")])
    assert ended.value.code == 2
    assert capsys.readouterr().err == (
        "busbox: --vcd: must not be used with a folder of benches, 'mistakes'\n"
    )
    run(capsys, "mistakes", "--out", str(tmp_path / "all"))
    names = sorted(file.name for file in (tmp_path / "all").glob("*.json"))
    assert names == sorted(f"{file.parent.name}.json" for file in benches_of("mistakes") or ())
