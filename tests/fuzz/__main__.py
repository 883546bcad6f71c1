"""``python -m tests.fuzz``: draws cases until the time is over; exit code 1 if one broke something."""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path
from random import Random

from tests.fuzz.running import Case, Runner
from tests.fuzz.shrinking import shrunk
from tests.fuzz.targets import Target, targets

CASES = Path(__file__).with_name("cases")


def main() -> None:
    """Draw cases, print what each parser got, keep what broke something."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", help="names of targets that contain this")
    given = parser.parse_args()
    until = time.monotonic() + given.seconds
    with tempfile.TemporaryDirectory() as made:
        known = [one for one in targets(Path(made)) if given.only in one.name]
    with tempfile.TemporaryDirectory() as place, Runner(Path(place)) as runner:
        found = _draw(runner, known, given.seed, until)
    sys.exit(int(found > 0))


def _draw(runner: Runner, known: list[Target], seed: int, until: float) -> int:
    counts: Counter[str] = Counter()
    seen: set[str] = set()
    number = 0
    while time.monotonic() < until:
        target = known[number % len(known)]
        case = target.case(Random(f"{seed} {number}"))
        number += 1
        counts[target.name] += 1
        broken = runner.broken(case)
        if broken is not None and "signal" in broken:
            broken = f"{broken.partition(' after')[0]}: {target.name}, {case.args[0]}"
        if broken is not None and broken not in seen:
            seen.add(broken)
            _keep(runner, target, case, broken, number - 1)
    for name, count in sorted(counts.items()):
        print(f"{name:24}{count:8,} cases")
    print(f"{'all':24}{sum(counts.values()):8,} cases, {len(seen)} broke something")
    return len(seen)


def _keep(runner: Runner, target: Target, case: Case, broken: str, number: int) -> None:
    print(f"{target.name}, number {number}: {broken}\n  {' '.join(case.args)[:200]}", flush=True)
    small = case  # one that takes ten seconds is not tried again and again
    if "signal" not in broken:
        small = shrunk(case, lambda one: runner.broken(one) == broken)
    small = replace(small, why=broken)
    name = f"found_{hashlib.sha256(broken.encode()).hexdigest()[:8]}.json"
    (CASES / name).write_text(small.as_json(), encoding="utf-8")
    changed = {name: data[:200] for name, data in small.files.items() if name == target.file}
    print(f"  kept as {name}: {changed}", flush=True)


if __name__ == "__main__":
    main()
