"""Rules that do not come with Busbox: of an attachment, of a file beside the bench, of a plug-in."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import pytest

import busbox
import busbox.engines
from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.cli import main
from busbox.findings import RunFacts, Sighting
from busbox.plugins import RULES, find

BELL = '''\
"""A bell, and a rule."""

from busbox.board.attachment import Decoder, LineFinding, LineReport
from busbox.findings import Sighting

PAGE = """
A stroke of the bell was too short to be heard.

Why it matters: nobody is warned.

What to do
----------
Hold the hammer for longer.
"""


class Bell(Decoder):
    """A bell."""

    rules = {"bell-silent": PAGE}

    def decode(self, wave):
        strokes = zip(wave.times[1::2].tolist(), wave.times[2::2].tolist())
        short = [fall for rise, fall in strokes if fall - rise < 20]
        return LineReport([("silent", str(len(short)))], findings=[
            LineFinding("bell-silent", tick, lambda: ("it was silent.", "Strike for longer."))
            for tick in short
        ])


def no_reads(facts):
    """Nothing was read at all.

    What to do
    ----------
    Read something.
    """
    accesses = facts.recording.accesses
    if accesses.write.all():
        last = len(accesses) - 1
        yield facts.sighting(last, lambda: (f"{facts.describe(last)} is the last.", "Read."))
'''
BENCH = """\
clock = "1 MHz"
rules = ["bell.py:no_reads"]

[slot.box]
model = "gpio"
base = 0x1000
size = 0x40

[attach.bell]
kind = "bell.py:Bell"
pin = "box.out.0"

[traffic]
file = "train.steps"

[[expect]]
findings = { rule = "bell-silent", exactly = 1 }
[[expect]]
findings = { rule = "no-reads", at_most = 0 }
"""
STEPS = "write box.OUT 1\nwrite box.OUT 0 +30\nwrite box.OUT 1\nwrite box.OUT 0 +5\n"
#: The fourth write ends in cycle 43, and the pin falls in 44.
FALLS = 44


@pytest.fixture(autouse=True)
def _quick_engine(_watch_ports: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(busbox.engines, "preferred", lambda *_: "python")


@pytest.fixture
def crossing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the bench, in which commands are given."""
    lay_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def lay_out(folder: Path, bell: str = BELL, bench: str = BENCH) -> None:
    """Write the bench and its files."""
    files = {"bell.py": bell, "bench.toml": bench, "train.steps": STEPS}
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[object, str, str]:
    """Run ``busbox WORDS``; return exit code, stdout and stderr."""
    with pytest.raises(SystemExit) as ended:
        main(list(words))
    seen = capsys.readouterr()
    return ended.value.code, seen.out, seen.err


def test_every_rule_of_busbox_is_a_function_of_its_name_in_a_file_of_its_own() -> None:
    """Id, file and function have one name, and no two rules share a file."""
    for rule, target in RULES.built_in.items():
        name = rule.replace("-", "_")
        assert target == f"busbox.findings.{name}:{name}"
        assert find(RULES, rule).__name__ == name


def test_the_summary_shows_findings_of_rules_that_are_not_busboxs(
    crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of the attachment's rule and of the file's: where, what, what to try."""
    code, out, _ = said(capsys, "run", ".")
    assert code == 1  # an expectation does not hold
    assert (
        "Findings: 2\n"
        "  no-reads  finding.0\n"
        "    cycle 43 (43 us), access 3, train.steps:4\n"
        "    write of 0x0 to box.OUT (0x00001000) is the last.\n"
        "    try: Read.\n"
        "  bell-silent  finding.1\n"
        "    cycle 44 (44 us), access 3, train.steps:4\n"
        "    bell: it was silent.\n"
        "    try: Strike for longer.\n"
    ) in out
    assert "not met\n  not met  findings of no-reads: at most 0; seen: 1\n" in out
    assert "Expectations: 1 of 2 met\n" in out


def test_json_counts_and_lists_them_like_any_other(
    crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Counts by rule and register or attachment; each finding with its place."""
    found = json.loads(said(capsys, "run", ".", "--json")[1])
    assert found["counts"] == {"no-reads": {"box.OUT": 1}, "bell-silent": {"bell": 1}}
    rules = [(one["rule"], one["cycle"], one["access"]) for one in found["findings"]]
    assert rules == [("no-reads", 43, 3), ("bell-silent", FALLS, 3)]


RULES_KEY = 'rules = ["bell.py:no_reads"]\n'
ATTACHED = '[attach.bell]\nkind = "bell.py:Bell"\npin = "box.out.0"\n'


@pytest.mark.parametrize(
    ("left_out", "code"), [((ATTACHED,), 1), ((RULES_KEY,), 1), ((ATTACHED, RULES_KEY), 0)]
)
def test_strict_counts_them(
    left_out: tuple[str, ...], code: int, crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The exit code is 1 if either of the rules finds something, and 0 without both."""
    bench = BENCH.partition("[[expect]]")[0]
    for part in left_out:
        assert part in bench
        bench = bench.replace(part, "")
    lay_out(crossing, bench=bench)
    assert said(capsys, "run", ".", "--strict")[0] == code


@pytest.mark.parametrize(("rule", "cycles"), [("bell-silent", FALLS + 1), ("no-reads", 44)])
def test_a_run_stops_on_them(
    rule: str, cycles: int, crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """--stop-on knows their ids; the cycle of the finding is the last one."""
    found = json.loads(said(capsys, "run", ".", "--stop-on", rule, "--json")[1])
    assert found["cycles"] == cycles


@pytest.mark.parametrize(
    ("name", "rule", "first"),
    [
        ("bell.py:Bell", "bell-silent", "A stroke of the bell was too short to be heard."),
        ("bell.py:no_reads", "no-reads", "Nothing was read at all."),
    ],
)
def test_explain_shows_the_page_of_a_rule_in_a_file(
    name: str, rule: str, first: str, crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """FILE.py:NAME is a rule, or a decoder that brings some."""
    code, out, _ = said(capsys, "explain", name)
    assert code == 0
    assert out.startswith(f"{rule}\n  {first}\n")
    assert "  What to do\n" in out


def test_a_kind_is_listed_with_its_rules(
    crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`busbox attachments FILE.py:CLASS` names them with the first sentence of their pages."""
    first = "A stroke of the bell was too short to be heard."
    assert (
        f"\nIts own findings\n  bell-silent  {first}\n"
        in (said(capsys, "attachments", "bell.py:Bell")[1])
    )
    found = json.loads(said(capsys, "attachments", "bell.py:Bell", "--json")[1])
    assert found["rules"] == {"bell-silent": first}


def test_a_capture_is_judged_by_them_too(
    crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`busbox capture` shows what the class finds in a line of a real board."""
    (crossing / "line.csv").write_text(
        "time_us,hammer\n0,0\n5,1\n9,0\n20,1\n90,0\n95,0\n", encoding="utf-8"
    )
    words = ("capture", "line.csv", "--as", "bell.py:Bell")
    assert (
        "  bell-silent\n    it was silent.\n    try: Strike for longer.\n"
        in (said(capsys, *words)[1])
    )
    found = json.loads(said(capsys, *words, "--json")[1])
    assert found["lines"]["hammer"]["findings"] == {"bell-silent": 1}
    lay_out(crossing, BELL.replace('"bell-silent": PAGE', ""))
    code, _, err = said(capsys, *words)
    assert code == 2
    assert err == (
        "busbox: hammer: Bell names an unknown rule, 'bell-silent'; name an existing rule, or "
        "declare it in its rules\n"
    )


def test_a_decoder_may_name_any_rule_of_busbox(
    crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it finds counts, also where the rule has a check that looks at something else."""
    lay_out(crossing, BELL.replace('"bell-silent": PAGE', "").replace("bell-silent", "byte-lost"))
    found = json.loads(said(capsys, "run", ".", "--set", "expect=[]", "--json")[1])
    assert found["counts"] == {"no-reads": {"box.OUT": 1}, "byte-lost": {"bell": 1}}


def test_a_saved_recording_carries_them(
    crossing: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """It is judged the same where the bench and its files are gone."""
    recording = Bench.load(crossing / "bench.toml").run()
    file = tmp_path_factory.mktemp("elsewhere") / "evening.recording.npz"
    recording.save(file)
    for name in ("bell.py", "bench.toml", "train.steps"):
        (crossing / name).unlink()
    judged = busbox.judge(busbox.Recording.load(file))
    assert judged.findings == recording.findings
    assert {one.rule for one in judged.findings} == {"no-reads", "bell-silent"}


# Plug-ins.


@pytest.fixture
def plugins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Return what installs the bell as a plug-in, with the given entry points."""

    def install(points: str) -> None:
        folder = tmp_path / "installed"
        (folder / "bell_box-1.0.dist-info").mkdir(parents=True)
        (folder / "bell_box.py").write_text(BELL, encoding="utf-8")
        info = folder / "bell_box-1.0.dist-info"
        (info / "METADATA").write_text("Name: bell-box\nVersion: 1.0\n", encoding="utf-8")
        (info / "entry_points.txt").write_text(points, encoding="utf-8")
        monkeypatch.syspath_prepend(str(folder))

    return install


POINTS = """\
[busbox.attachments]
bell = bell_box:Bell
[busbox.rules]
no-reads = bell_box:no_reads
"""


def test_a_plug_in_brings_rules(
    plugins: Callable[[str], None], crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A bench names them by kind and id; explain lists them and shows their pages by id."""
    plugins(POINTS)
    (crossing / "bell.py").unlink()
    bench = BENCH.replace("bell.py:Bell", "bell").replace("bell.py:no_reads", "no-reads")
    (crossing / "bench.toml").write_text(bench, encoding="utf-8")
    found = json.loads(said(capsys, "run", ".", "--json")[1])
    assert found["counts"] == {"no-reads": {"box.OUT": 1}, "bell-silent": {"bell": 1}}
    assert (
        "\nFrom plug-ins\n"
        "  no-reads     Nothing was read at all.\n"
        "  bell-silent  A stroke of the bell was too short to be heard.\n"
    ) in said(capsys, "explain")[1]
    for rule in ("bell-silent", "no-reads"):
        assert said(capsys, "explain", rule)[1].startswith(f"{rule}\n")
    code, _, err = said(capsys, "explain", "bell-silnt")
    assert code == 2
    assert "there is no rule 'bell-silnt'; did you mean 'bell-silent'?" in err


def test_a_plug_in_counts_only_where_a_bench_names_it(
    plugins: Callable[[str], None], crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is installed changes no bench's findings."""
    plugins(POINTS)
    words = ("run", ".", "--set", "rules=[]", "--set", "expect=[]", "--json")
    assert json.loads(said(capsys, *words)[1])["counts"] == {"bell-silent": {"bell": 1}}


def test_a_plug_in_that_cannot_be_used_is_listed_as_such(
    plugins: Callable[[str], None], crossing: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A name that is not the rule's id, and a module that is not there."""
    plugins("[busbox.rules]\nnothing-read = bell_box:no_reads\ngone = bell_gone:rule\n")
    out = " ".join(said(capsys, "explain")[1].split())
    text = "plug-in 'nothing-read' must be named like its rule, 'no-reads'"
    assert f" nothing-read cannot be used: {text} " in f"{out} "
    assert "cannot be used: plug-in 'gone' does not load: ModuleNotFoundError" in out
    code, _, err = said(capsys, "explain", "nothing-read")
    assert (code, err) == (2, f"busbox: {text}\n")


# From Python.


def first_write(facts: RunFacts) -> Iterator[Sighting]:
    """The first write is a finding.

    What to do
    ----------
    Nothing.
    """
    yield facts.sighting(0, partial(_first, facts))


def _first(facts: RunFacts) -> tuple[str, str]:
    return facts.describe(0), ""


def of_python(*rules: Any) -> Bench:
    """Return a bench with these rules."""
    slot = {"model": "gpio", "base": 0x1000, "size": 0x40}

    def firmware(bus: Any) -> None:
        bus.write("box.OUT", 1)

    return Bench(
        {"clock": "1 MHz", "slot": {"box": slot}, "rules": list(rules), "traffic": firmware}
    )


def test_a_rule_may_be_a_function() -> None:
    """From Python, a bench takes the function itself."""
    (finding,) = of_python(first_write).run().findings
    assert (finding.rule, finding.cycle, finding.access) == ("first-write", 2, 0)
    assert finding.message == "write of 0x1 to box.OUT (0x00001000)"


def no_page(facts: RunFacts) -> Iterator[Sighting]:
    yield from ()


def bus_hang(facts: RunFacts) -> Iterator[Sighting]:
    """A page.

    What to do
    ----------
    Nothing.
    """
    yield from ()


def test_a_recording_carries_a_function_by_its_name(tmp_path: Path) -> None:
    """A rule that can be imported is found again."""
    recording = of_python(first_write).run()
    recording.save(tmp_path / "day.recording.npz")
    judged = busbox.judge(busbox.Recording.load(tmp_path / "day.recording.npz"))
    assert judged.findings == recording.findings != ()


@pytest.mark.parametrize(
    ("rules", "text"),
    [
        ([3], "3 must be a function that yields sightings, not 3"),
        ([Bench], "must be a function that yields sightings"),
        ([no_page], "rule no-page must have a page: what is wrong, why it matters, what to do"),
        ([bus_hang], "a rule bus-hang already exists; choose another id"),
        ([first_write, first_write], "a rule first-write already exists; choose another id"),
    ],
)
def test_what_is_no_rule_is_refused(rules: list[Any], text: str) -> None:
    """A bench built in Python names what is wrong with the last of its rules."""
    with pytest.raises(InputError) as caught:
        of_python(*rules).run()
    (mistake,) = caught.value.mistakes
    assert mistake.key == f"rules.{len(rules) - 1}"
    assert text in mistake.text


def test_a_rule_may_only_yield_sightings_of_the_run() -> None:
    """Each of these is told by the rule's id, and is no traceback."""

    def sighting(**other: Any) -> Sighting:
        how = {"cycle": 0, "access": 0, "slot": "", "register": "", "key": "", **other}
        return Sighting(**{"describe": lambda: ("", ""), **how})

    def first_of(value: Any) -> Callable[[RunFacts], Iterator[Any]]:
        def first_write(facts: RunFacts) -> Iterator[Any]:
            yield value

        first_write.__doc__ = globals()["first_write"].__doc__
        return first_write

    cases = {
        "must yield a Sighting, not 5": 5,
        "must name a cycle of the run, 0 to 3, not 4": sighting(cycle=4),
        "must name an access of the run, or -1, not 1": sighting(access=1),
        "must give its key as a string, not None": sighting(key=None),
        "raised ZeroDivisionError: division by zero": sighting(describe=lambda: 1 / 0),
        "raised TypeError: describe must return two strings, message and hint": sighting(
            describe=lambda: (1, 2)
        ),
        "raised TypeError: 'str' object cannot be interpreted as an integer": sighting(cycle="0"),
    }
    for text, value in cases.items():
        with pytest.raises(InputError) as caught:
            of_python(first_of(value)).run()
        (mistake,) = caught.value.mistakes
        told, _, place = mistake.text.partition(" (tests/")
        assert told == f"rule first-write {text}"
        assert re.match(r"findings/test_added_rules\.py:\d+, in ", place)
