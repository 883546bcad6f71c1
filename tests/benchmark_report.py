"""How large the report page is, and how fast in a browser: ``python -m tests.benchmark_report``.

A million edges and a hundred thousand accesses of a real run, beside a line chart of the edges alone
by a general chart library (Chart.js, from npm): as simple as it can be, and with its own decimation.
Ratios are within one run; times are those of this machine. The same 60 frames are drawn five times:
"worst frame" is the longest of all, "steady frame" the longest of the best of five, in which other
programs on the machine do not count. Nothing here passes or fails. It needs
npm, Node.js and Debian's chromium.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from busbox import Bench, Recording
from busbox.report.page import run_page
from busbox.system.system import System

LAMPS = 64
#: Edges of a frame: a rise and a fall for each bit.
FRAME = 2 * 24 * LAMPS
#: Idle cycles between two reads of a poll: about 240 reads a frame.
EVERY = 143
HERE = Path(__file__).parent / "report"

BENCH: dict[str, Any] = {
    "clock": "16 MHz",
    "slot": {"lamps": {"model": "pulse_led", "base": 0x4400_0000, "size": 0x1000, "lamps": LAMPS}},
    "attach": {"string": {"kind": "lamp_string", "pin": "lamps.line", "count": LAMPS}},
}


def steps(frames: int) -> str:
    """Return traffic that sends frames, each lamp with a colour of its own."""
    lines = [f"write lamps.COUNT {LAMPS}", f"write lamps.HIGH {12 << 16 | 6}"]
    lines.append(f"write lamps.PERIOD {4800 << 16 | 20}")
    for frame in range(frames):
        lines += [
            f"write lamps.COLOUR.{lamp} {(frame * 977 + lamp * 0x10305) % 0x400000}"
            for lamp in range(LAMPS)
        ]
        lines += ["write lamps.CONTROL 1", f"poll lamps.STATUS & 1 == 0 every {EVERY}"]
    return "\n".join(lines) + "\n"


def run(edges: int, folder: Path) -> tuple[System, Recording]:
    """Return a run with about that many edges."""
    file = folder / "frames.steps"
    file.write_text(steps(max(1, edges // FRAME)), encoding="utf-8")
    bench = Bench({**BENCH, "traffic": {"file": file.name}}, folder=folder, name="frames")
    system = bench.system()
    return system, bench.run(system=system)


MEASURE = """async () => {
  const frame = () => new Promise((done) => requestAnimationFrame(done));
  const { view, timetable } = busbox;
  timetable.draw(true);
  const passes = [];
  for (let pass = 0; pass < 5; pass++) {
    const times = [];
    view.show(0, view.cycles);
    for (let n = 0; n < 60; n++) {
      const begun = performance.now();
      if (n % 2) view.pan(0.05); else view.zoom(n % 20 < 10 ? 0.6 : 1.6);
      view.waiting = false;
      for (const listener of view.listeners) listener();
      times.push(performance.now() - begun);
      await frame();
    }
    passes.push(times);
  }
  const all = passes.flat().sort((a, b) => a - b);
  const least = passes[0].map((_, n) => Math.min(...passes.map((times) => times[n])));
  return { median: all[150], worst: all[299], steady: Math.max(...least) };
}"""

CHART = """<!DOCTYPE html><title>baseline</title><div style="width:1200px;height:300px"><canvas id="c">
</canvas></div><script>%s</script><script>
const cycles = %s;
const begun = performance.now();
const data = cycles.map((x, n) => ({ x, y: n %% 2 }));
const chart = new Chart(document.getElementById("c"), { type: "line",
  data: { datasets: [{ data, stepped: true, pointRadius: 0, borderWidth: 1 }] },
  options: { animation: false, parsing: false, normalized: true, responsive: false,
    plugins: { decimation: { enabled: %s, algorithm: "min-max" } },
    scales: { x: { type: "linear" } } } });
window.opened = performance.now() - begun;
window.zoomed = () => {
  const times = [];
  for (let n = 0; n < 6; n++) {
    const wide = cycles.at(-1) * 0.6 ** n;
    const begun = performance.now();
    chart.options.scales.x.min = 0; chart.options.scales.x.max = wide;
    chart.update("none");
    times.push(performance.now() - begun);
  }
  return times.sort((a, b) => a - b)[3];
};
</script>"""


def npm_tools(folder: Path) -> Path:
    """Install what ``tests/report/package.json`` names, and return where it is."""
    for name in ("package.json", "package-lock.json", ".npmrc"):
        shutil.copy(HERE / name, folder / name)
    npm = shutil.which("npm")
    assert npm is not None, "npm is not installed"
    subprocess.run([npm, "ci", "--silent", "--no-audit", "--no-fund"], cwd=folder, check=True)
    return folder / "node_modules"


def in_browser(page: Path, charts: dict[str, Path]) -> dict[str, float]:
    """Return what the page and the charts take in a headless browser, in milliseconds."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        tab = browser.new_page(viewport={"width": 1280, "height": 900})
        begun = time.perf_counter()
        tab.goto(page.as_uri())
        tab.wait_for_function("window.busbox !== undefined")
        tab.evaluate("new Promise((done) => requestAnimationFrame(done))")
        opened = 1000 * (time.perf_counter() - begun)
        tab.evaluate("document.querySelector('#rows').scrollIntoView()")
        frames = tab.evaluate(MEASURE)
        asked = tab.evaluate(
            "(() => { const begun = performance.now(); busbox.ask('lamps.line@400000');"
            " return performance.now() - begun; })()"
        )
        tab.close()
        found = {
            "opened": opened, "frame": frames["median"], "worst frame": frames["worst"],
            "steady frame": frames["steady"], "cause": asked,
        }  # fmt: skip
        for name, chart in charts.items():
            tab = browser.new_page(viewport={"width": 1280, "height": 900})
            begun = time.perf_counter()
            tab.goto(chart.as_uri())
            tab.wait_for_function("window.opened !== undefined")
            found[f"{name} opened"] = 1000 * (time.perf_counter() - begun)
            found[f"{name} frame"] = tab.evaluate("zoomed()")
            tab.close()
        browser.close()
    return found


def main(edges: int = 1_000_000) -> None:
    """Print size and times."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        system, recording = run(edges, folder)
        begun = time.perf_counter()
        html = run_page(system, recording)
        written = time.perf_counter() - begun
        page = folder / "run.html"
        page.write_text(html, encoding="utf-8")
        library = npm_tools(folder) / "chart.js/dist/chart.umd.js"
        source = library.read_text(encoding="utf-8")
        cycles = recording.lines["lamps.line"].cycles.tolist()
        charts = {}
        for kind, decimated in (("chart", "false"), ("decimated", "true")):
            charts[kind] = folder / f"{kind}.html"
            text = CHART % (source, json.dumps(cycles), decimated)
            charts[kind].write_text(text, encoding="utf-8")
        found = in_browser(page, charts)
        print(f"{len(cycles) - 1:,} edges, {len(recording.accesses):,} accesses")
        print(f"written in {written:.1f} s: {page.stat().st_size / 1e6:.2f} MB")
        for what, taken in found.items():
            print(f"{what:16} {taken:8.1f} ms")
        for what in ("opened", "frame"):
            ratios = [f"{found[f'{kind} {what}'] / found[what]:.2f} {kind}" for kind in charts]
            print(f"{what}: times as fast as each chart: {', '.join(ratios)}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
