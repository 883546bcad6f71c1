"""A terminal at a serial port while a run goes on."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox import Bench, Recording
from busbox.basics.errors import InputError
from busbox.run.live import LOOKS, Live
from tests.programs import FOLDER, bench_keys

#: Columns of accesses that say what a run was.
SAME = ("start", "end", "address", "write", "lanes", "data", "pc")
MEMORY = [{"at": 0, "size": 0x4000}, {"at": 0x2000_0000, "size": 0x4000}]


class Script:
    """A far end with a script: bytes by the number of the look; None ends the run."""

    def __init__(self, script: dict[int, bytes | None]) -> None:
        self.script, self.shown, self.looks = script, b"", 0
        self.ended = self.closed = False

    def show(self, data: bytes) -> None:
        """Keep what was sent."""
        self.shown += data

    def typed(self, wait: float) -> bytes:
        """Return what the script has for this look."""
        assert wait == 0
        found = self.script.get(self.looks, b"")
        self.looks += 1
        self.ended = self.ended or found is None
        return found or b""


def still(slot: str, far: Script) -> Live:
    """Return a terminal with a clock that stands still: it looks by simulated time only."""
    return Live(slot, far, clock=lambda: 0.0)


def echo(**keys: Any) -> Bench:
    """Return the bench of the program echo, at a rate so low that looks come between bits."""
    base = bench_keys("echo.elf", memory=MEMORY)
    base["slot"]["telegraph"]["divisor"] = 16_000
    return Bench({**base, "settle": "1 s", **keys}, folder=FOLDER, name="echo")


def assert_same(seen: Recording, expected: Recording) -> None:
    """Assert that two runs are the same, in accesses, lines, texts and end."""
    for name in SAME:
        assert (seen.accesses[name] == expected.accesses[name]).all(), name
    assert seen.texts == expected.texts
    assert (seen.cycles, seen.ended) == (expected.cycles, expected.ended)
    for pin in expected.lines:
        for one, other in zip(seen.edges(pin), expected.edges(pin), strict=True):
            assert (one == other).all(), pin


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    script=st.dictionaries(
        st.integers(0, 24), st.text('abc \n"\\\x7f\xe9', min_size=1, max_size=3), max_size=4
    )
)
def test_what_was_typed_gives_the_same_run_as_input(script: dict[int, str]) -> None:
    """Any bytes at any time: as [[input]] tables, written as TOML, they give every fact again."""
    typed: dict[int, bytes | None] = {at: text.encode("latin-1") for at, text in script.items()}
    far = Script({**typed, 26: None})
    live = still("telegraph", far)
    recording = echo().run("llvm", live=live)
    assert recording.ended == "until"
    assert recording.cycles == 26 * 16_000_000 // LOOKS + 1
    assert far.shown == recording.texts["telegraph"].encode("latin-1")
    assert b"".join(one.data for one in live.inputs) == b"".join(
        text for _, text in sorted(typed.items()) if text
    )
    inputs = tomllib.loads(live.toml()).get("input", [])
    again = echo(**({"input": inputs} if inputs else {})).run("llvm", recording.cycles)
    assert_same(again, recording)
    assert_same(echo(input=live.tables()).run("llvm", recording.cycles), recording)


def test_typed_bytes_come_back_and_end_the_program() -> None:
    """One byte a look: hello, then its capital; after the q the run ends as any other."""
    far = Script({10: b"a", 14: b"b", 18: b"q"})
    recording = echo().run("llvm", live=still("telegraph", far))
    assert recording.ended == "done"
    assert far.shown == b"hello\nAB."
    assert recording.texts["telegraph"] == "hello\nAB."


def test_a_recording_carries_what_was_typed(tmp_path: Path) -> None:
    """Replayed from the file, with its bench: the same run."""
    from busbox.bench.opening import opened
    from busbox.engines import engine_class
    from busbox.run.loop import replay

    recording = echo().run("llvm", live=still("telegraph", Script({10: b"a", 14: b"q"})))
    recording.save(tmp_path / "echo.recording.npz")
    saved = Recording.load(tmp_path / "echo.recording.npz")
    with opened(saved, to_replay=True) as system:
        assert_same(replay(system, engine_class("llvm")), recording)


def test_a_sleeping_core_is_woken_by_what_is_typed(tmp_path: Path) -> None:
    """wfi with the interrupt of a received byte: the run does not end while the terminal is open."""
    from tests.core import assembler as asm
    from tests.core.assembler import Assembly

    program = Assembly(0)
    program.words(*asm.li(5, 0x4000_1000), asm.addi(6, 0, 2), asm.sw(6, 5, 0xC))
    program.words(*asm.li(7, 1 << 11), asm.csrrw(0, 0x304, 7), asm.WFI, asm.lw(8, 5, 0), asm.EBREAK)
    (tmp_path / "sleep.bin").write_bytes(program.image())
    keys = bench_keys("sleep.bin", memory=MEMORY, interrupt="telegraph.interrupt")
    keys["traffic"]["at"] = 0
    bench = Bench(keys, folder=tmp_path, name="sleep")
    assert bench.run("llvm").cycles < 16_000_000 // LOOKS
    recording = bench.run("llvm", live=still("telegraph", Script({7: b"!"})))
    assert recording.ended == "done"
    assert recording.accesses.data[-1] == ord("!")
    assert recording.accesses.start[-1] > 7 * 16_000_000 // LOOKS


@pytest.mark.parametrize(
    ("slot", "keys", "told"),
    [
        ("levers", {}, "live: there is no slot 'levers' with a serial port and a pin rx (known: "
                       "telegraph)"),
        ("telegrap", {}, "live: there is no slot 'telegrap' with a serial port and a pin rx; did you "
                         "mean 'telegraph'? (known: telegraph)"),
        ("telegraph", {"input": [{"at": 5, "pin": "telegraph.rx", "bytes": "a"}]},
         "live: telegraph.rx is driven already, by an input, a wire, a reply or a driver of the bench"),
    ],
)  # fmt: skip
def test_a_port_that_cannot_be_used_is_told(slot: str, keys: dict[str, Any], told: str) -> None:
    """No serial port, no such slot, or a pin that something else drives."""
    with pytest.raises(InputError) as error:
        echo(**keys).run("llvm", live=still(slot, Script({})))
    assert str(error.value) == told
