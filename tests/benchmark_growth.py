"""What grows with its input: each at a size and at twice that; twice the time is in proportion.

Where there is a plain way to the same result, its time is compared too.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np

from busbox import Recording, load_bench
from busbox.basics.distinct import distinct
from busbox.bench.bench import Bench
from busbox.board.attachment import Board
from busbox.board.lamp_string import LampString
from busbox.cpu.bus import Bus
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import AccessStep, Poll
from busbox.exports.waveform import write_vcd
from busbox.formats.csv import read_csv
from busbox.formats.csv_rows import COLUMNS, step_of
from busbox.lines.profiles import PROFILES
from busbox.system.system import System
from tests.benchmark_lines import CLOCK, LAMPS, lamp_line, quickest

#: Of each case at its smaller size.
SIZE = 50_000
Run = Callable[[], Any]


def numbers(size: int) -> tuple[Run, Run | None]:
    """The different ones of some numbers, against NumPy's own search."""
    column = np.random.default_rng(1).integers(0, size, 10 * size)
    return lambda: distinct(column), lambda: np.unique(column)


def failing_lamps(size: int) -> tuple[Run, Run | None]:
    """A lamp line of which every profile fails: as many edges."""
    wave = lamp_line(48 * LAMPS * max(1, size // (48 * LAMPS)))
    wave = replace(wave, tick=Fraction(1, 3 * CLOCK))
    string = LampString(Board(3 * CLOCK, PROFILES), count=LAMPS, channels=3, order=None, profile=None,
                        channel_current=None, light="linear")  # fmt: skip
    return lambda: string.decode(replace(wave)), None


def table(size: int) -> bytes:
    """Return as many plain rows."""
    rows = (f"{n % 7},read,{0x4000_0000 + n % 64 * 4:#010x},{n:#010x},1111" for n in range(size))
    return "\n".join(["wait,op,address,data,lanes", *rows]).encode()


def rows(size: int) -> tuple[Run, Run | None]:
    """Rows of CSV, against one row after the other."""
    text = table(size)

    def plain() -> None:
        for row in csv.DictReader(io.StringIO(text.decode())):
            step_of(dict.fromkeys(COLUMNS, "") | row, 0)

    return lambda: list(read_csv(io.BytesIO(text), "x")), plain


def played(size: int) -> tuple[Run, Run | None]:
    """Rows of CSV, read and handed out twice."""
    text = table(size)

    def twice() -> None:
        source = ListedSource(lambda: read_csv(io.BytesIO(text), "x"))
        for _ in range(2):
            assert sum(1 for _ in source.again().pieces())

    return twice, None


def run_of(system: System) -> Recording:
    """Run a system, without judging it."""
    from busbox.engines import engine_class
    from busbox.run.loop import replay

    return replay(system, engine_class("python"))


def given_up(size: int) -> tuple[Run, Run | None]:
    """Polls that reach their limit, a tenth as many."""
    steps = [Poll(0x4000_0000, 1, 1, 0, 2)] * (size // 10)
    system = load_bench("first_light").system(steps)
    return lambda: run_of(system), None


def driven(size: int) -> tuple[Run, Run | None]:
    """Steps of a driver in Python, a tenth as many."""

    def firmware(bus: Bus) -> None:
        for _ in range(size // 10):
            bus.read("levers.IN")

    system = load_bench("first_light").system(firmware)
    return lambda: run_of(system), None


def wired(size: int, count: int = 31) -> tuple[Run, Run | None]:
    """Writes to pins with 31 wires, against none, a tenth as many."""
    slots = {
        name: {"model": "gpio", "base": place, "size": 4096}
        for name, place in (("a", 0), ("b", 4096))
    }
    wires = [{"from": f"a.out.{pin}", "to": f"b.in.{pin}"} for pin in range(count)]
    keys = {"clock": "16 MHz", "settle": 1, "slot": slots, **({"wire": wires} if count else {})}
    system = Bench(keys).system([AccessStep(True, 0, n) for n in range(size // 10)])
    return lambda: run_of(system), wired(size, 0)[0] if count else None


def waveform(size: int) -> tuple[Run, Run | None]:
    """Accesses written as a waveform file, a tenth as many."""
    text = table(size // 10)
    source = ListedSource(lambda: read_csv(io.BytesIO(text), "x"))
    recording = run_of(load_bench("first_light").system(source))
    return lambda: write_vcd(recording, io.StringIO()), None


CASES: dict[str, Callable[[int], tuple[Run, Run | None]]] = {
    "different numbers (x 10)": numbers,
    "failing lamp line, edges": failing_lamps,
    "rows of CSV": rows,
    "rows of CSV, played twice": played,
    "polls given up (/ 10)": given_up,
    "steps of a driver (/ 10)": driven,
    "writes with 31 wires (/ 10)": wired,
    "accesses as a waveform (/ 10)": waveform,
}


def main(size: int = SIZE, times: int = 3) -> None:
    """Print the times, their growth, and the ratio to the plain way."""
    print(f"\n{'growing':34}{'size':>11}{'s':>9}{'twice':>9}{'growth':>9}{'ratio':>9}")
    for name, case in CASES.items():
        (one, plain), (two, _) = case(size), case(2 * size)
        once, _ = quickest(one, times)
        twice, _ = quickest(two, times)
        ratio = "" if plain is None else f"{quickest(plain, 1)[0] / once:.1f}"
        print(f"{name:34}{size:>11,}{once:>9.4f}{twice:>9.4f}{twice / once:>9.1f}{ratio:>9}",
              flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
