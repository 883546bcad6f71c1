"""One peripheral, four words with byte lanes, behind every usual way to write a bus port.

All of them stand in one bench. The words are compared with a model in Python that knows no cycles.
"""

from __future__ import annotations

import random
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busbox import Bench, Recording
from busbox.basics.units import Span
from busbox.bus.transfers import TERMINATORS
from busbox.cpu.steps import AccessStep, Pause, ResetStep, Step
from busbox.engines import engine_class, for_many_runs
from busbox.run.loop import replay
from tests.engines.test_engines_agree import agree
from tests.verilog.netlists import needs_front_end

pytestmark = needs_front_end
MODULES = Path(__file__).parent / "modules"
BEGIN = [0x1111_1111 * (place + 1) for place in range(4)]


@dataclass(frozen=True)
class Style:
    """How a port is written.

    Attributes
    ----------
    kind, reset : what the notes must call it, and its reset
    lanes, errors, slow : whether it has byte lanes, an error at 0x10, slow words from 0x20 on
    carried : a write that is given up is carried to its end
    ports : what the bench must say
    """

    kind: str
    reset: str
    lanes: bool = True
    errors: bool = True
    slow: bool = True
    carried: bool = True
    ports: Any = None


STYLES = {
    "wishbone_at_once": Style("wishbone", "rst_i", carried=False),
    "wishbone_registered_ack": Style("wishbone", "rst", errors=False, carried=False),
    "wishbone_pipelined": Style("wishbone", "arst_n", errors=False, carried=False),
    "apb_whole": Style("apb", "presetn"),
    "apb_least": Style("apb", "PRESETn", lanes=False, errors=False, slow=False),
    "axi_together": Style("axi4-lite", "aresetn"),
    "axi_kept": Style("axi4-lite", "aresetn"),
    "axi_in_turn": Style("axi4-lite", "areset", slow=False),
    "strobes_with_ready": Style("strobes", "rst_n"),
    "strobes_least": Style(
        "strobes", "reset", lanes=False, errors=False, slow=False, ports={"addresses": "words"}
    ),
    "strobes_late": Style("strobes", "rst", errors=False, slow=False, ports={"late": True}),
    "strobes_late_with_ready": Style("strobes", "rst", errors=False, ports={"late": True}),
}


def bench(folder: Path, steps: list[Step], watchdog: int | None) -> Bench:
    """Return a bench with all of them, at multiples of 0x100."""
    for file in MODULES.iterdir():
        shutil.copy(file, folder / file.name)
    slots = {
        name: {
            "model": f"styles.v:{name}", "base": 0x100 * number, "size": 0x100,
            "verilog": {"files": ["store.v"]}, "ports": style.ports or {},
        }
        for number, (name, style) in enumerate(STYLES.items())
    }  # fmt: skip
    fabric = {} if watchdog is None else {"watchdog": watchdog}
    keys = {"clock": "1 MHz", "slot": slots, "fabric": fabric, "traffic": steps}
    return Bench(keys, folder=folder)


def drawn(seed: int, count: int, slow: bool) -> list[Step]:
    """Return random accesses, with resets between them; slow ones have time to be carried on."""
    dice = random.Random(seed)
    steps: list[Step] = []
    for number in range(count):
        slot, style = dice.choice(list(enumerate(STYLES.values())))
        offset = 4 * dice.randrange(4)
        late = slow and style.slow and dice.random() < 0.3
        if late:
            offset += 0x20
        elif style.errors and dice.random() < 0.1:
            offset += 0x10
        write, lanes = dice.random() < 0.5, 15
        if style.lanes and dice.random() < 0.5:
            lanes = dice.randrange(16)
        address = 0x100 * slot + offset
        data = dice.getrandbits(32) if write else None
        steps.append(AccessStep(write, address, data, lanes, dice.choice((0, 0, 1, 3))))
        if late:
            steps.append(Pause(Span(cycles=30)))
        if number % 100 == 70:
            steps.append(ResetStep(0))
    return steps


def expected(run: Recording, watchdog: bool) -> None:
    """Assert that each access ended as the style says, and that each word is what was written."""
    words = {name: list(BEGIN) for name in STYLES}
    resets = [begin for begin, _ in run.resets]
    ends = run.accesses
    seen = set()
    for place in range(len(ends.end)):
        while resets and ends.start[place] > resets[0]:
            resets.pop(0)
            words = {name: list(BEGIN) for name in STYLES}
        number, offset = divmod(int(ends.address[place]), 0x100)
        name = list(STYLES)[number]
        style, word, what = STYLES[name], offset >> 2 & 3, (name, place)
        terminator = TERMINATORS[ends.terminator[place]]
        if terminator == "reset":
            continue
        slow = offset >= 0x20
        ending = "watchdog" if slow and watchdog else "error" if offset & 0x10 else "ack"
        assert terminator == ending, what
        seen.add((name, ending, bool(ends.write[place])))
        data, lanes = int(ends.data[place]), int(ends.lanes[place])
        if not ends.write[place]:
            assert ending != "ack" or data == words[name][word], what
        elif ending == "ack" or (ending == "watchdog" and style.carried):
            mask = sum(0xFF << 8 * lane for lane in range(4) if lanes >> lane & 1)
            words[name][word] = words[name][word] & ~mask | data & mask
    for name, style in STYLES.items():
        endings = {"ack"} | ({"error"} if style.errors else set())
        endings |= {"watchdog"} if watchdog and style.slow else set()
        assert {ending for one, ending, _ in seen if one == name} == endings


def test_words_are_kept_behind_every_port(tmp_path: Path) -> None:
    """Lanes, errors, slow answers and resets, on every engine alike."""
    made = bench(tmp_path, drawn(1, 1200, True), None).system()
    run = replay(made, engine_class("llvm"))
    expected(run, watchdog=False)
    assert len(run.resets) > 10
    until = int(run.accesses.end[60])
    judged = replay(made, engine_class("reference"), until)
    python = for_many_runs(engine_class("python"))
    agree(judged, replay(made, python, until))
    agree(run, replay(made, python))


def test_an_access_that_the_watchdog_ends_leaves_the_next_one_right(tmp_path: Path) -> None:
    """A slow write behind APB, AXI4-Lite or strobes is carried on; behind Wishbone CYC withdraws it."""
    made = bench(tmp_path, drawn(2, 1000, True), 9)
    expected(made.run("llvm"), watchdog=True)


def test_a_reset_in_the_middle_of_a_transfer_ends_it(tmp_path: Path) -> None:
    """Whichever cycle it hits: what follows finds the words as the reset sets them."""
    made = bench(tmp_path, drawn(3, 300, True), None)
    dice, resets, at = random.Random(3), [], 9
    while at < 3000:
        resets.append({"at": at, "length": dice.randrange(1, 3)})
        at += dice.randrange(12, 40)
    made.keys |= {"reset": resets, "after_reset": "continue"}
    run = made.run("llvm")
    assert (run.accesses.terminator == TERMINATORS.index("reset")).sum() > 30
    expected(run, watchdog=False)


def test_ports_are_known_by_their_names(tmp_path: Path) -> None:
    """The notes say which kind each one was taken for, and its reset."""
    notes = {
        one.name: one.model.notes_for(one.settings)[0]
        for one in bench(tmp_path, [], None).devices()
    }
    for name, style in STYLES.items():
        low = " (active low)" if style.reset.lower().endswith("n") else ""
        assert notes[name].startswith(f"port of kind {style.kind}")
        assert f"reset {style.reset}{low}; pins none" in notes[name]
