"""The bus and the devices of the page against runs of the engine; expressions against Python's."""

from __future__ import annotations

from pathlib import Path
from random import Random
from typing import Any

import pytest

from busbox.bench.bench import Bench
from busbox.cpu.steps import AccessStep
from busbox.lessons.board import CLOCK, SLOTS
from busbox.lessons.expressions import FORMS, OPERATORS, evaluate
from busbox.lessons.page_data import MODELS, RULES, _Made
from busbox.lessons.playing import HANG_AFTER, ending, outputs, run, who
from busbox.map.slots import AddressMap
from tests.lessons.page_script import asked_of_lessons
from tests.report.page_script import needs_node

pytestmark = needs_node

PLAY = """
const { run } = modules["play.js"];
const result = given.plays.map(({ slots, tables, fabric, steps }) => {
  const made = new Map(slots.map((slot, place) => [slot.name, given.made[tables[place]]]));
  const seen = run(slots, made, fabric, steps, given.hang);
  const text = [...seen.devices].map(([name, device]) => [name, device.text]);
  const out = [...seen.devices].map(([name, device]) => [name, device.outputs()]);
  const { accesses, rules } = seen;
  return { accesses, rules, texts: Object.fromEntries(text), outputs: Object.fromEntries(out) };
});
"""


def drawn_tables(random: Random) -> list[dict[str, Any]]:
    """Return slots with other wait states; sometimes the lamps have images."""
    tables = [
        {"name": name, **table, "wait": random.choice((0, 1, 1, 2, 5))}
        for name, table in SLOTS.items()
    ]
    if random.random() < 0.5:
        tables[5]["compare"] = random.choice((0xFF00_0000, 0xFFF0_0000, 0xFF80_0000))
    if random.random() < 0.1:
        random.choice(tables)["wait"] = random.choice((1_998, 1_999, 2_000, 2_500))
    return tables


def drawn_fabric(random: Random) -> dict[str, Any]:
    """Return what ends an access that nobody answers."""
    fabric: dict[str, Any] = {"unanswered": random.choice(("error", "error", "silence"))}
    if random.random() < 0.6:
        fabric["watchdog"] = random.choice((1, 2, 4, 5, 6, 64, 1_999, 2_000, 2_001))
    return fabric


def drawn_steps(random: Random, tables: list[dict[str, Any]]) -> list[AccessStep]:
    """Return accesses of every kind; STATUS of the lamps is not read, which the page cannot tell."""
    steps = []
    for _ in range(random.randint(1, 25)):
        table = random.choice(tables)
        offset = 4 * random.choice((0, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 64, 65, 72))
        image = (
            random.getrandbits(24) & 0x00FF_F000
            if "compare" in table and random.random() < 0.3
            else 0
        )
        address = random.choice((table["base"] + offset,) * 9 + (0x5000_0000,)) ^ image
        write = random.random() < 0.6
        if not write and table["model"] == "pulse_led" and offset == 4:
            write = True
        data = random.choice((0, 1, 8, 0x41, 0x105, 0x4141_4141, random.getrandbits(32)))
        lanes = random.choice((15, 15, 15, 1, 2, 4, 8, 3, 12, 0, 6))
        steps.append(AccessStep(write, address, data if write else None, lanes))
    return steps


def as_given(play: tuple[Any, Any, list[AccessStep]], made: _Made) -> dict[str, Any]:
    """Return a play as the page is given it."""
    tables, fabric, steps = play
    return {
        "tables": [made.number(table) for table in tables],
        "slots": [
            {
                "name": table["name"], "model": table["model"], "base": table["base"],
                "size": table["size"], "wait": table["wait"], "yields": [],
                "decode": "compare" if "compare" in table else "full",
                "compare": [bit for bit in range(32) if table.get("compare", 0) >> bit & 1],
            }
            for table in tables
        ],
        "fabric": {"unanswered": fabric["unanswered"], "watchdog": fabric.get("watchdog")},
        "steps": [
            {"write": one.write, "address": one.target, "data": one.data or 0, "lanes": one.lanes,
             "tag": ""}
            for one in steps
        ],
    }  # fmt: skip


def seen_in_a_run(tables: Any, fabric: Any, steps: list[AccessStep]) -> dict[str, Any]:
    """Return what a run of the engine shows, as the page does."""
    found = run(
        [{"yields_to": [], **table} for table in tables],
        fabric,
        [("", one) for one in steps],
        judged=True,
    )
    recording, accesses = found.recording, found.recording.accesses
    return {
        "accesses": [
            {"start": int(accesses.start[at]), "end": int(accesses.end[at]),
             "ends": ending(recording, at), "who": who(recording, at), "data": int(accesses.data[at]),
             "tag": ""}
            for at in range(len(accesses))
        ],
        "texts": recording.texts,
        "outputs": outputs(recording, "levers"),
        "rules": {rule: count for rule, count in recording.by_rule.items() if rule in RULES},
    }  # fmt: skip


def test_plays_on_the_page_are_runs_of_the_engine(tmp_path: Path) -> None:
    """Cycles, endings, data, text, lamps and findings of drawn traffic are those of the engine."""
    random, made = Random(5), _Made()
    plays = []
    for _ in range(45):
        tables = drawn_tables(random)
        plays.append((tables, drawn_fabric(random), drawn_steps(random, tables)))
    given = {
        "plays": [as_given(play, made) for play in plays],
        "made": made.rows,
        "hang": HANG_AFTER,
    }
    answers = asked_of_lessons(PLAY, given, tmp_path)
    ends, rules = set(), set()
    for play, answer in zip(plays, answers, strict=True):
        expected = seen_in_a_run(*play)
        assert answer["accesses"] == expected["accesses"], play
        assert answer["texts"]["telegraph"] == expected["texts"]["telegraph"], play
        assert answer["outputs"]["levers"] == expected["outputs"], play
        assert answer["rules"] == expected["rules"], play
        ends |= {access["ends"] for access in answer["accesses"]}
        rules |= answer["rules"].keys()
    assert ends == {"ACK", "ERR", "nobody"}
    assert rules == {*RULES}


def test_a_play_that_the_page_cannot_know_is_refused(tmp_path: Path) -> None:
    """How far a frame has been sent is not guessed: the page says that it cannot know."""
    tables = [{"name": "lamps", **SLOTS["lamps"], "wait": 1}]
    made = _Made()
    base = SLOTS["lamps"]["base"]
    steps = [AccessStep(True, base, 1, 15), AccessStep(False, base + 4, None, 15)]
    given = as_given((tables, {"unanswered": "error"}, steps), made)
    code = PLAY.replace("const result =", "let result; try { result =").rstrip().rstrip(";")
    code += "; } catch (error) { result = [error instanceof modules['devices.js'].Unknown]; }"
    answer = asked_of_lessons(
        code, {"plays": [given], "made": made.rows, "hang": HANG_AFTER}, tmp_path
    )
    assert answer == [True]


def test_every_model_and_rule_of_the_page_is_one_of_busbox() -> None:
    """What the page says it knows exists under that name."""
    from busbox.findings.rule_set import RULES as ALL_RULES
    from busbox.plugins import DEVICES, names

    assert {*MODELS} <= {*names(DEVICES)}
    assert {*RULES} <= {*names(ALL_RULES)}


@pytest.mark.quick
def test_expressions_have_the_same_value(tmp_path: Path) -> None:
    """Each operator and each form of a number give on the page what they give in Python."""
    random = Random(6)
    numbers = [0, 1, -1, 2, 3, 31, 32, 63, 64, 0x3FFF, -0x4000, 0xFFFF_FFFF, 1 << 32, -(1 << 31)]
    trees: list[Any] = []
    for operator in OPERATORS:
        count = 3 if operator == "if" else 1 if operator in ("~", "neg", "not") else 2
        for _ in range(200):
            trees.append([operator, *(random.choice(numbers) for _ in range(count))])
    for _ in range(300):
        trees.append(["+", random.choice(trees), ["*", "x", random.choice(trees)]])
    trees = [tree for tree in trees if abs(evaluate(as_tree(tree), {"x": 5})) < 1 << 200]
    written = asked_of_lessons(
        """const { evaluate, filled } = modules["trees.js"];
        const values = new Map([["x", 5n]]);
        const result = given.trees.map((tree) => [String(evaluate(tree, values)),
          ...given.forms.map((form) => filled([[tree, form]], values))]);""",
        {"trees": trees, "forms": list(FORMS)},
        tmp_path,
    )
    for tree, found in zip(trees, written, strict=True):
        value = evaluate(as_tree(tree), {"x": 5})
        assert found == [str(value), *(form(value) for form in FORMS.values())], tree


def as_tree(tree: Any) -> Any:
    """Return a tree of lists as tuples."""
    return tuple(as_tree(one) for one in tree) if isinstance(tree, list) else tree


def test_registers_have_the_names_that_the_map_has(tmp_path: Path) -> None:
    """Each word of each slot of the common map has the register of Busbox, or none."""
    devices = Bench({"clock": CLOCK, "slot": SLOTS}).devices()
    found = AddressMap([device.slot for device in devices])
    from busbox.lessons.page_data import page_data

    data = page_data([])
    addresses = [slot.base + offset for slot in found.slots for offset in (*range(0x140), 0xFFE)]
    answers = asked_of_lessons(
        """const { Board } = modules["board.js"];
        const { decode } = modules["decoder.js"];
        const board = new Board(given.data.slots, given.data.models);
        const result = given.addresses.map((address) => {
          const { slot, offset } = decode(board.slots, address);
          return slot ? board.registerAt(slot, offset)?.name ?? null : null;
        });""",
        {"data": data, "addresses": addresses},
        tmp_path,
    )
    expected = [place.name if (place := found.decode(one).place) else None for one in addresses]
    assert answers == expected
    assert None in expected
