"""What a device or a decoder of somebody else says of many edges at once is checked."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox import Bench, InputError
from busbox.explain.why import Stories
from busbox.findings.judging import as_far_as_judged

DEVICE = '''
import numpy as np

from busbox.basics.phrases import GAP, Phrases
from busbox.board.attachment import Decoder, LineReport
from busbox.device import Pin, Reason, Reasons, Register, RegisterModel, RegisterTable


class Bell(RegisterModel):
    """A bell."""

    table = RegisterTable(Register("LEVEL", 0x00, "rw", "The level.", reset=0))
    pins = (Pin("hammer"),)

    def write_LEVEL(self, write):
        self.host.edge("hammer", write.shows, write.value & 1, write.number)

    @classmethod
    def because(cls, settings, pin, cycle, access, past):
        ONE

    @classmethod
    def because_all(cls, settings, pin, cycles, accesses, past):
        n = len(cycles)
        ALL


class Ear(Decoder):
    """An ear."""

    def decode(self, wave):
        return LineReport()

    def describe_all(self, wave, ticks):
        n = len(ticks)
        EAR
'''
BENCH = """
clock = "1 MHz"
[slot.bell]
model = "bell.py:Bell"
base = 0x1000
size = 0x40
[attach.ear]
kind = "bell.py:Ear"
pin = "bell.hammer"
[traffic]
file = "day.steps"
"""
FINE = "return Phrases.of('' for _ in range(n))"


def stories(folder: Path, all_of_them: str, one: str = "yield from ()", ear: str = FINE) -> Stories:
    """Return the stories of a run with two edges."""
    text = DEVICE.replace("ALL", all_of_them).replace("ONE", one).replace("EAR", ear)
    (folder / "bell.py").write_text(text, encoding="utf-8")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    steps = "write bell.LEVEL 1\nwrite bell.LEVEL 0 +9\n"
    (folder / "day.steps").write_text(steps, encoding="utf-8")
    bench = Bench.load(folder)
    system = bench.system()
    return Stories(system, as_far_as_judged(lambda: bench.run("python", system=system)))


def edges_of(found: Stories) -> tuple[object, ...]:
    """Return what is asked about all edges but the first: pin, cycles, accesses."""
    line = found.recording.lines["bell.hammer"]
    return "bell.hammer", line.cycles[1:], line.accesses[1:]


P = "Phrases.of('x' for _ in range(n))"
RULE = "its because_all must return Reasons of 2 edges each, not "
BAD = {
    "raise KeyError('clapper')": "its because_all raised KeyError: 'clapper' (",
    "raise SystemExit(0)": "its because_all raised SystemExit: 0 (",
    "return 5": "its because_all must return Reasons, or None, not 5 (",
    "return [5]": RULE + "5 (",
    "return 'ab'": RULE + "'a' (",
    "yield KeyError": RULE,
    f"return [Reasons({P}, {P}, [0, 1])]": RULE,
    f"return [Reasons({P}, {P}, np.zeros(1, dtype='i8'))]": RULE,
    f"return [Reasons({P}, {P}, np.full(n, -7))]": RULE,
    f"return [Reasons({P}, 'LEVEL', np.zeros(n, dtype='i8'))]": RULE,
    f"return [Reasons(Phrases.of(['x']), {P}, np.zeros(n, dtype='i8'))]": RULE,
    f"return [Reasons(Phrases((GAP,), np.zeros(n, dtype='i8'), np.zeros((n, 0), dtype='i8')), {P}, "
    "np.zeros(n, dtype='i8'))]": RULE,
    f"return [Reasons(Phrases(('x',), np.full(n, 3), np.zeros((n, 0), dtype='i8')), {P}, "
    "np.zeros(n, dtype='i8'))]": RULE,
}  # fmt: skip


@pytest.mark.parametrize("body", BAD)
def test_rubbish_about_all_edges_is_told(body: str, tmp_path: Path) -> None:
    """The message names the slot, the hook, its file and its line."""
    found = stories(tmp_path, body)
    with pytest.raises(InputError) as caught:
        found.all_reasons(*edges_of(found))  # type: ignore[arg-type]
    told = str(caught.value)
    assert told.startswith(f"slot.bell: {BAD[body]}")
    assert "bell.py:" in told


def test_reasons_edge_by_edge_are_checked_for_all_edges_too(tmp_path: Path) -> None:
    """Where because_all returns None, because is asked, with the same checks as for one edge."""
    for one, told in {
        "raise KeyError('clapper')": "its because raised KeyError: 'clapper' (",
        "yield 7": "its because must yield Reason objects, not 7 (",
        "yield Reason(1, 'LEVEL')": "its because must yield Reason objects, not Reason(what=1",
    }.items():
        found = stories(tmp_path, "return None", one)
        with pytest.raises(InputError) as caught:
            found.all_reasons(*edges_of(found))  # type: ignore[arg-type]
        assert str(caught.value).startswith(f"slot.bell: {told}")


def test_reasons_that_are_fine_are_taken(tmp_path: Path) -> None:
    """A list, and an iterator, of Reasons with an access for each edge."""
    for body in (
        f"return [Reasons({P}, {P}, np.zeros(n, dtype='i8'))]",
        f"yield Reasons({P}, {P}, np.full(n, -1))",
    ):
        found = stories(tmp_path, body)
        (one,) = found.all_reasons(*edges_of(found))  # type: ignore[arg-type]
        assert [one.what.text(number) for number in (0, 1)] == ["x", "x"]


def test_a_hook_about_all_edges_that_never_returns_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is ended at the limit of processor time, as every hook is."""
    monkeypatch.setenv("BUSBOX_HOOK_SECONDS", "0.3")
    found = stories(tmp_path, "while True:\n            pass")
    with pytest.raises(InputError, match=r"Bell.because_all computed for more than 0.3 s"):
        found.all_reasons(*edges_of(found))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("ear", "told"),
    [
        ("raise KeyError('drum')", "its describe_all raised KeyError: 'drum' ("),
        ("return ['x', 'y', 'z']", "its describe_all must return Phrases of 3 texts, not "),
        ("return Phrases.of(['x'])", "its describe_all must return Phrases of 3 texts, not "),
    ],
)
def test_rubbish_of_a_decoder_about_all_edges_is_told(ear: str, told: str, tmp_path: Path) -> None:
    """The message names the attachment, the hook, its file and its line."""
    found = stories(tmp_path, "return None", ear=ear)
    with pytest.raises(InputError) as caught:
        found.seen_on_all("bell.hammer", found.recording.lines["bell.hammer"].cycles)
    assert str(caught.value).startswith(f"attach.ear: {told}")
    assert "bell.py:" in str(caught.value)
