"""Every traffic format reads back what it wrote, by one shared test."""

from __future__ import annotations

from dataclasses import fields, replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.basics.units import Span
from busbox.cpu.steps import (
    AccessStep,
    Await,
    Handler,
    Mark,
    Named,
    Pause,
    Poll,
    ResetStep,
    Step,
    Until,
)
from busbox.formats.files import read_traffic, write_traffic
from busbox.plugins import FORMATS, find

_word = st.integers(0, 0xFFFF_FFFF)
_number = st.integers(0, (1 << 30) - 1).map(lambda word: 4 * word)
_name = st.builds(
    Named,
    st.sampled_from(("levers", "lamps_2", "_x")),
    st.sampled_from(("OUT", "COLOUR.7", "lower")),
)
_target = st.one_of(_number, _name)
_lanes = st.integers(0, 15)
_pc = st.one_of(st.none(), _word)
_keep = st.sampled_from((None, None, "start", "_b", "from_1"))
_writes = st.builds(
    AccessStep, st.just(True), _target, _word, _lanes, st.integers(0, 0xFFFF_FFFF), _pc
)
_reads = st.builds(
    AccessStep,
    st.just(False),
    _target,
    st.one_of(st.none(), _word),
    _lanes,
    st.integers(0, 9),
    _pc,
    keep=_keep,
)


@st.composite
def _polls(draw: st.DrawFn) -> Poll:
    mask = draw(_word)
    value = draw(_word) & mask
    limit = draw(st.one_of(st.just(10_000_000), st.integers(1, 0xFFFF_FFFF)))
    every, lanes = draw(st.integers(0, 99)), draw(_lanes)
    step = Poll(draw(_target), value, mask, every, limit, lanes, draw(st.integers(0, 9)), draw(_pc))
    return replace(step, keep=draw(_keep))


@st.composite
def _untils(draw: st.DrawFn) -> Until:
    poll = draw(_polls())
    keys = {key.name: getattr(poll, key.name) for key in fields(poll)}
    return Until(**keys, since=draw(st.one_of(_word, st.sampled_from(("start", "_b")))))


_spans = st.one_of(
    st.integers(0, 10**12).map(lambda cycles: Span(cycles=cycles)),
    st.integers(0, 10**15).map(lambda ps: Span(seconds=Fraction(ps, 10**12))),
    st.integers(0, 10**6).map(lambda tens: Span(seconds=Fraction(tens, 10**14))),
)
_texts = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=20
)
_pins = st.sampled_from(("levers.in.4", "clock.ring", "_a.b_c"))
_limits = st.one_of(
    st.just(Span(cycles=10_000_000)), st.integers(1, 10**9).map(lambda cycles: Span(cycles=cycles))
)
_plain_steps = st.one_of(
    _writes,
    _reads,
    _polls(),
    _untils(),
    st.builds(Pause, _spans),
    st.builds(Mark, _texts),
    st.builds(Await, _pins, st.integers(0, 1), _limits),
    st.builds(ResetStep, st.integers(0, 9)),
)
_handlers = st.builds(
    Handler,
    st.sampled_from(("tick", "pull_4")),
    _pins,
    st.lists(_plain_steps, max_size=3).map(tuple),
    st.integers(0, 99),
    st.integers(0, 99),
)
_steps = st.one_of(_plain_steps, _plain_steps, _handlers)

#: Every format that the registry has built in, and that is written.
SUFFIXES = sorted(f".{name}" for name in FORMATS.built_in if find(FORMATS, name).write is not None)

#: Steps that each format can hold.
HELD = {".steps": _steps, ".csv": _plain_steps}

#: What each format can hold; everything else it must refuse.
HOLDS = {".steps": lambda step: True, ".csv": lambda step: not isinstance(step, Handler)}


@pytest.mark.quick
@pytest.mark.parametrize("packed", ["", ".gz"])
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_format_reads_back_what_it_wrote(
    suffix: str, packed: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Steps that a format holds come back equal, whatever they are; lines are counted."""
    folder = tmp_path_factory.mktemp("traffic")

    @given(steps=st.lists(HELD[suffix], max_size=20))
    def check(steps: list[Step]) -> None:
        path = folder / f"traffic{suffix}{packed}"
        write_traffic(path, steps)
        read = list(read_traffic(path))
        assert read == steps
        at = 1 + (suffix == ".csv")
        for step in read:
            assert step.line == at
            at += len(step.steps) + 2 if isinstance(step, Handler) else 1

    check()


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_a_format_refuses_what_it_cannot_hold(
    suffix: str, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """A step that a format cannot hold is refused by its number, and no file is left."""
    folder = tmp_path_factory.mktemp("refused")

    @given(step=_steps)
    def check(step: Step) -> None:
        path = folder / f"refused{suffix}"
        if HOLDS[suffix](step):
            write_traffic(path, [step])
            path.unlink()
        else:
            with pytest.raises(InputError, match="step 2"):
                write_traffic(path, [AccessStep(True, 0, 0), step])
            assert list(folder.iterdir()) == []

    check()


def test_every_suffix_says_what_it_holds() -> None:
    """A new format must be named in HOLDS and HELD, or these tests would pass it by."""
    assert set(HOLDS) == set(HELD) == set(SUFFIXES)


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("separator", [",", ";"])
def test_csv_of_any_office_is_read(ending: str, mark: str, separator: str, tmp_path: Path) -> None:
    """A byte-order mark, CRLF and ``;`` change nothing; an empty pc and data are none."""
    rows = [
        "wait,op,address,data,lanes,pc",
        "3,write,0x40000000,0x01,0010,0x1f4",
        "0,read,4,,1111,",
    ]
    text = mark + ending.join(row.replace(",", separator) for row in rows) + ending
    path = tmp_path / "office.csv"
    path.write_bytes(text.encode("utf-8"))
    assert list(read_traffic(path)) == [
        AccessStep(True, 0x4000_0000, 1, 0b0010, 3, 0x1F4),
        AccessStep(False, 4, None, 0b1111, 0, None),
    ]


def test_the_text_format_reads_its_own_examples(tmp_path: Path) -> None:
    """Every line of the format's page is the step it says, with comments and free spacing."""
    path = tmp_path / "page.steps"
    path.write_text(
        "mark   lever 1 # not a comment\n"
        "# a comment\n"
        "\n"
        "write  levers.OUT 1          # by name\n"
        "write\t0x44000000 0x02002800 +12\n"
        "write  levers.OUT 0x0500 lanes 0010 pc 0x1f4\n"
        "read   telegraph.STATUS = 1\n"
        "read   telegraph.STATUS=1\n"
        "poll   telegraph.STATUS & 1 == 1 every 12 limit 1000\n"
        "poll   telegraph.STATUS&1==1\n"
        "pause  2 ms\n"
        "pause  17\n"
        "await  levers.in.4 1 limit 5 ms\n"
        "handler tick on clock.ring enter 20 leave 12\n"
        "  write clock.STATUS 1\n"
        "end\n"
        "reset\n",
        encoding="utf-8",
    )
    status = Named("telegraph", "STATUS")
    assert list(read_traffic(path)) == [
        Mark("lever 1 # not a comment"),
        AccessStep(True, Named("levers", "OUT"), 1),
        AccessStep(True, 0x4400_0000, 0x0200_2800, 15, 12),
        AccessStep(True, Named("levers", "OUT"), 0x0500, 0b0010, 0, 0x1F4),
        AccessStep(False, status, 1),
        AccessStep(False, status, 1),
        Poll(status, 1, 1, 12, 1000),
        Poll(status, 1, 1),
        Pause(Span(seconds=Fraction(2, 1000))),
        Pause(Span(cycles=17)),
        Await("levers.in.4", 1, Span(seconds=Fraction(5, 1000))),
        Handler("tick", "clock.ring", (AccessStep(True, Named("clock", "STATUS"), 1),), 20, 12),
        ResetStep(),
    ]
    assert [step.line for step in read_traffic(path)] == [
        1,
        4,
        5,
        6,
        7,
        8,
        9,
        10,
        11,
        12,
        13,
        14,
        17,
    ]
