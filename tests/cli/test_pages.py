"""Pages at 80 and 60 columns: every verb over every bench that comes with Busbox, and extremes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from rich.cells import cell_len

import busbox.basics.paper
from busbox.bench.bench import Bench
from busbox.bench.find import benches_of, packaged_benches, packaged_sets
from busbox.cli import main
from busbox.plugins import ATTACHMENTS, DEVICES, KINDS, RULES, VERBS

BENCHES = [
    *packaged_benches(),
    *(f"{name}/{file.parent.name}" for name in packaged_sets() for file in benches_of(name) or ()),
]
ALONE = [
    (),
    ("--help",),
    *((verb, "--help") for verb in VERBS.built_in),
    ("list",),
    *(("list", kind) for kind in KINDS),
    ("models",),
    *(("models", name) for name in DEVICES.built_in),
    ("attachments",),
    *(("attachments", name) for name in ATTACHMENTS.built_in),
    ("explain",),
    *(("explain", rule) for rule in RULES.built_in),
    ("timing", "16 MHz"),
    ("timing", "1 MHz", "--profile", "P5"),
    ("baud", "16 MHz", "9600", "115200", "1000000"),
    ("check", "timer", "--cycles", "50"),
]
#: More columns than any page needs.
UNWRAPPED = 10**6

LONG = "lever_" + 60 * "x"
EXTREME = f"""\
clock = "16 MHz"

[slot.{LONG}]
model = "gpio"
base = 0x4000_0000
size = 0x1000

[slot.telegraph]
model = "uart"
base = 0x4000_1000
size = 0x1000

[traffic]
file = "evening.steps"

[[input]]
at = 999_999_999
pin = "{LONG}.in.4"
level = 1

[[expect]]
text = {{ of = "telegraph", is = "{"a long text, " * 12}" }}
"""
TRAFFIC = f"""\
mark {"the signalman walks to the lever, " * 8}{"y" * 150}
mark 信号 [bold]lamps[/bold] :bell:
write {LONG}.OUT 0xffffffff
write 0xfffffffc 0xffffffff
write 0xfffffff8 0xffffffff
write telegraph.DATA 0x41
write telegraph.DATA 0x42
write telegraph.DATA 0x43
"""
HEADER = f"""\
#define REG(a) (*(volatile unsigned int *)(a))
#define {"LAMPS_" * 12}OF_THE_CABIN 0x44000000u
#define LOST REG({"LAMPS_" * 12}OF_THE_CABIN + 0x0)
#define LEVER REG(0x40000000)
"""


class Pages:
    """Runs a verb in-process, for pages of several widths."""

    def __init__(self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self._capsys, self._monkeypatch = capsys, monkeypatch

    def __call__(self, width: int, *words: str) -> str:
        """Return what ``busbox WORDS`` prints at a width."""
        self._monkeypatch.setenv("COLUMNS", str(width))
        prose = UNWRAPPED if width == UNWRAPPED else 100
        self._monkeypatch.setattr(busbox.basics.paper, "PROSE", prose)
        with pytest.raises(SystemExit) as ended:
            main(list(words))
        seen = self._capsys.readouterr()
        assert ended.value.code in (0, 1), seen.err
        assert seen.err == ""
        return seen.out

    def check(self, *words: str) -> None:
        """Assert that a page fits 80 and 60 columns and loses nothing.

        Without its spaces it is the page of unlimited width. Where a table has no room for its columns,
        it has the same words, and names of the columns before their cells.
        """
        whole = self(UNWRAPPED, *words)
        for width in (80, 60):
            page = self(width, *words)
            assert [line for line in page.splitlines() if cell_len(line) > width] == [], words
            if "".join(page.split()) != "".join(whole.split()):
                before, after = Counter(whole.split()), Counter(page.split())
                assert not before - after, words
                assert set(after - before) <= set(before), words


@pytest.fixture
def pages(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Pages:
    """Run verbs in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return Pages(capsys, monkeypatch)


@pytest.mark.parametrize("words", ALONE, ids=" ".join)
def test_a_page_without_a_bench_fits_and_loses_nothing(
    words: tuple[str, ...], pages: Pages
) -> None:
    """Lists, models, rules, help: 80 and 60 columns hold the words of a page without limit."""
    pages.check(*words)


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=pytest.mark.quick if name == "first_light" else ())
        for name in BENCHES
    ],
)
def test_every_verb_fits_for_a_bench_that_comes_with_busbox(name: str, pages: Pages) -> None:
    """Map, addresses, state, summary, verdict, causes: from one run of the bench, at each width."""
    recording = Bench.load(name).run()
    recording.save(Path("kept.recording.npz"))
    for words in _of_a_bench(name, "kept.recording.npz"):
        pages.check(*words)
    for finding in {finding.rule: finding for finding in recording.findings}.values():
        number = recording.findings.index(finding)
        pages.check("why", "kept.recording.npz", f"finding.{number}")
    if len(recording.accesses):
        pages.check("why", "kept.recording.npz", f"access.{len(recording.accesses) - 1}")


def _of_a_bench(bench: str, recording: str) -> Iterator[tuple[str, ...]]:
    yield "map", bench
    yield "where", bench, "0x44000102"
    yield "where", bench, "0x7fffffff"
    yield "run", recording
    yield "run", recording, "--brief"
    yield "run", recording, "--coverage"
    yield "state", recording, "--at", "999 s"


def test_a_set_fits_and_loses_nothing(pages: Pages) -> None:
    """The blocks of a set and the table that closes it, whole and brief."""
    pages.check("run", "bit_banging", "--until", "300 us")
    pages.check("run", "bit_banging", "--until", "300 us", "--brief", "--coverage")


def test_captures_twins_and_what_is_written_fit(pages: Pages) -> None:
    """Verbs that need a file or a twin: capture, twin, convert, new."""
    pages(80, "run", "first_light", "--vcd", "cabin.vcd")
    for line, kind, setting in (
        ("telegraph.tx", "terminal", "baud=1000000"),
        ("lamps.line", "lamp_string", "count=7"),
    ):
        words = "--line", f"busbox.{line}", "--as", kind, "--set", setting
        pages.check("capture", "cabin.vcd", *words)
        pages.check("capture", "cabin.vcd", *words, "--against", "first_light", line)
    pages.check("twin", "first_light", "levers", "--random", "20")
    Path("a.steps").write_text("write 0 1\n", encoding="utf-8")
    pages.check("convert", "a.steps", f"{40 * 'b'}.csv")


@pytest.mark.quick
def test_long_names_texts_and_numbers_fit(pages: Pages) -> None:
    """Names and words longer than a line are broken, and not a letter is lost."""
    Path("bench.toml").write_text(EXTREME, encoding="utf-8")
    Path("evening.steps").write_text(TRAFFIC, encoding="utf-8")
    Path("cabin.h").write_text(HEADER, encoding="utf-8")
    for words in (
        ("run", "bench.toml"),
        ("run", "bench.toml", "--brief"),
        ("run", "bench.toml", "--coverage"),
        ("map", "bench.toml"),
        ("where", "bench.toml", "0x40000000"),
        ("where", "bench.toml", "cabin.h"),
        ("state", "bench.toml", "--at", "10"),
        ("why", "bench.toml", "finding.0"),
    ):
        whole = Counter(pages(UNWRAPPED, *words))
        for width in (80, 60, 40):
            page = pages(width, *words)
            assert [line for line in page.splitlines() if cell_len(line) > width] == [], words
            lost = whole - Counter(page)
            assert set(lost) <= {" "}, words


@pytest.mark.quick
def test_a_page_is_the_same_in_a_file_and_in_a_pipe(
    pages: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is no terminal has 80 columns, whatever the machine; COLUMNS alone changes that."""
    eighty = pages(80, "run", "mistakes/lamp_clock")
    monkeypatch.delenv("COLUMNS")
    main_page = pages(80, "run", "mistakes/lamp_clock", "--write", "summary=kept.txt")
    assert main_page == eighty == Path("kept.txt").read_text(encoding="utf-8")
    assert pages(60, "run", "mistakes/lamp_clock") != eighty


@pytest.mark.quick
def test_the_verdict_stands_first_and_last(pages: Pages) -> None:
    """End, doubt, findings and expectations: the first lines are the last ones too."""
    expect = 'expect=[{ findings = { rule = "unmapped-access", at_most = 400 } }]'
    moved = "slot.lamps.base=0x44010000"
    lines = pages(100, "run", "first_light", "--set", moved, "--set", expect).splitlines()
    assert lines[:4] == [
        "first_light: done after 478 us (7,648 cycles at 16 MHz), engine python",
        "Certain until 477.4 us, access 569: 0x44000100 ended with ERR, recorded 0x400000",
        "Findings: 414",
        "Expectations: 0 of 1 met",
    ]
    assert lines[-4:] == lines[:4]


@pytest.mark.quick
def test_brief_prints_the_verdict_and_a_line_for_each_rule(pages: Pages) -> None:
    """The whole page: a line for each rule found, with a number for ``why``; what was not met."""
    expect = 'expect=[{ findings = { rule = "unmapped-access", at_most = 400 } }]'
    moved = "slot.lamps.base=0x44010000"
    assert pages(80, "run", "first_light", "--set", moved, "--set", expect, "--brief") == (
        "first_light: done after 478 us (7,648 cycles at 16 MHz), engine python\n"
        "note: lamps was moved; 14 steps of the traffic that reached it by number stay at\n"
        "  the old address (--move-traffic moves them).\n"
        "Certain until 477.4 us, access 569: 0x44000100 ended with ERR, recorded 0x400000\n"
        "Findings: 414\n"
        "  unmapped-access  413 times  first: finding.0 in cycle 1,960\n"
        "  poll-timeout     1 time     first: finding.412 in cycle 7,636\n"
        "Expectations: 0 of 1 met\n"
        "  not met  findings of unmapped-access: at most 400; seen: 413\n"
    )
    title = pages(80, "why", "first_light", "finding.412", "--set", moved).splitlines()[0]
    assert title.startswith("poll-timeout in cycle 7,636 ")


@pytest.mark.quick
def test_findings_are_numbered_as_why_takes_them(pages: Pages) -> None:
    """Each rule of a summary names its first finding, and the commands that show more."""
    page = pages(80, "run", "first_light", "--set", "slot.lamps.base=0x44010000")
    assert "\n  unmapped-access  413 times; the first is finding.0\n" in page
    assert "\n  poll-timeout  finding.412\n" in page
    assert (
        "  busbox why BENCH finding.N traces one back; busbox explain RULE describes a\n"
        "  rule; busbox run BENCH --json lists them all, up to 1,000 of a rule.\n"
    ) in page
    assert "--json lists" not in pages(80, "run", "mistakes/too_fast")


@pytest.mark.quick
def test_a_set_has_a_short_block_for_each_bench_and_a_table(pages: Pages) -> None:
    """A bench's end and findings; at last a row for each, and which command shows one whole."""
    page = pages(80, "run", "mistakes")
    blocks = page.split("\n\n")
    names = [file.parent.name for file in benches_of("mistakes") or ()]
    assert [block.partition(":")[0] for block in blocks[: len(names)]] == names
    first, second = Bench.load("mistakes/too_fast").run().findings
    assert " ".join(blocks[names.index("too_fast")].split()) == (
        "too_fast: done after 67 us (1,072 cycles at 16 MHz), engine python "
        "byte-lost finding.0, cycle 6 (375 ns), access 2, too_fast.steps:3 "
        f"{first.message} "
        "frame-missed finding.1, cycle 12 (750 ns), access 5, too_fast.steps:6 "
        f"{second.message} expectations: 2 of 2 met"
    )
    table = blocks[len(names)].splitlines()
    assert table[:2] == [
        f"{len(names)} benches, {len(names)} with findings",
        "  bench        ended            findings  expectations",
    ]
    assert [line.split()[0] for line in table[2:]] == names
    assert "  hang         the CPU hangs           1  1 of 1 met" in table
    assert blocks[-1] == "busbox run mistakes/NAME prints the whole summary of one.\n"
    assert len(page.splitlines()) < 200


@pytest.mark.quick
def test_brief_and_json_do_not_go_together(
    pages: Pages, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both would print to standard output: one line says so, exit code 2."""
    with pytest.raises(SystemExit) as ended:
        main(["run", "first_light", "--json", "--brief"])
    assert ended.value.code == 2
    assert capsys.readouterr().err == "busbox: --brief: cannot be combined with --json\n"


@pytest.mark.quick
def test_a_mistake_stays_in_one_line(
    pages: Pages, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Messages on standard error are read by tools: one line each, at any width."""
    monkeypatch.setenv("COLUMNS", "40")
    with pytest.raises(SystemExit):
        main(["run", f"bench.toml{60 * 'x'}"])
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("busbox: there is no bench ")
    assert len(line) > 80
