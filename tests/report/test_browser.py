"""What the page does in a browser: everything by mouse, by keys, and to read aloud."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from busbox import Bench
from busbox.explain.why import Stories
from busbox.lines.colour import on_screen
from busbox.report.causes import story_facts
from busbox.report.script import MODULES, asset
from tests.npm import type_mistakes, violations

BENCH = "interrupted"
FAULTY = "mistakes/lamp_bits"

Open = Callable[..., Any]


def window(page: Any) -> tuple[float, float]:
    """Return the first and the last cycle that are shown."""
    found = page.evaluate("[busbox.view.from, busbox.view.to]")
    return found[0], found[1]


def settled(page: Any) -> None:
    """Wait until all that has changed is drawn."""
    page.evaluate("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")


def lane(page: Any, row: str) -> Any:
    """Return the box of a row's drawing."""
    number = page.evaluate(
        f"busbox.timetable.rows.findIndex((r) => r.line.id === {json.dumps(row)})"
    )
    canvas = page.locator("#rows .row:not(.axis) canvas").nth(number)
    canvas.evaluate("(canvas) => canvas.scrollIntoView({block: 'center'})")
    settled(page)
    return canvas.bounding_box()


def shown_parts(page: Any) -> list[list[str]]:
    """Return label, text and origin of what the slip shows."""
    return page.evaluate(
        """[...document.querySelectorAll("#cause dd")].map((dd) => [
          dd.previousElementSibling.textContent, dd.firstChild.textContent,
          dd.querySelector(".origin")?.textContent ?? ""])"""
    )


@pytest.mark.quick
def test_a_click_tells_the_cause_of_busbox_why(opened: Open) -> None:
    """A click on an edge of a pin shows title, parts and origins of ``busbox why`` for that edge."""
    page = opened(BENCH)
    system = Bench.load(BENCH).system()
    recording = Bench.load(BENCH).run("python", system=system)
    pin = "lamps.line"
    cycle = int(recording.lines[pin].cycles[5])
    page.evaluate(f"busbox.view.show({cycle - 15}, {cycle + 15})")
    box = lane(page, f"pin:{pin}")
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    story = story_facts(Stories(system, recording).tell(f"{pin}@{cycle}"))
    assert page.locator("#cause h3").inner_text() == story["title"]
    labels = [part[0] for part in story["parts"]]
    once = [label if n == 0 or labels[n - 1] != label else "" for n, label in enumerate(labels)]
    expected = [[label, *part[1:3]] for label, part in zip(once, story["parts"], strict=True)]
    assert shown_parts(page) == expected
    page.wait_for_function(f"location.hash.includes('why={pin}%40{cycle}')")


def test_the_mouse_zooms_and_pans(opened: Open) -> None:
    """Ctrl with the wheel zooms about the pointer, a drag pans, a plain wheel is left to the page."""
    page = opened(BENCH)
    box = lane(page, "pin:lamps.line")
    x, y = box["x"] + box["width"] / 4, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    before = window(page)
    page.mouse.wheel(0, -120)
    settled(page)
    assert window(page) == before
    y = lane(page, "pin:lamps.line")["y"] + 5
    page.mouse.move(x, y)
    page.keyboard.down("Control")
    page.mouse.wheel(0, -300)
    page.keyboard.up("Control")
    page.wait_for_function(f"busbox.view.to - busbox.view.from < {(before[1] - before[0]) / 2}")
    near = window(page)
    at = before[0] + (before[1] - before[0]) / 4
    assert near[0] + (near[1] - near[0]) / 4 == pytest.approx(at, rel=0.01)
    page.mouse.down()
    page.mouse.move(x - 100, y, steps=5)
    page.mouse.up()
    moved = window(page)
    assert moved[1] - moved[0] == pytest.approx(near[1] - near[0])
    assert moved[0] - near[0] == pytest.approx(100 / box["width"] * (near[1] - near[0]), rel=0.05)


def test_two_fingers_zoom(opened: Open) -> None:
    """Two pointers that move apart show less of the run."""
    page = opened(BENCH, has_touch=True)
    box = lane(page, "pin:lamps.line")
    before = window(page)
    touch = page.context.new_cdp_session(page)
    y = box["y"] + 10

    def send(kind: str, *places: float) -> None:
        points = [{"x": x, "y": y, "id": number} for number, x in enumerate(places)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    middle = box["x"] + box["width"] / 2
    send("touchStart", middle - 40, middle + 40)
    for apart in (60, 80, 120):
        send("touchMove", middle - apart, middle + apart)
    send("touchEnd")
    settled(page)
    assert window(page)[1] - window(page)[0] < 0.6 * (before[1] - before[0])


@pytest.mark.quick
def test_all_by_keys(opened: Open) -> None:
    """Arrows, signs and letters move window and line, and tell causes: nothing needs a mouse."""
    page = opened(BENCH)
    page.evaluate("busbox.timetable.rows[0].name.focus()")
    whole = window(page)
    page.keyboard.press("+")
    settled(page)
    half = window(page)
    assert half[1] - half[0] == pytest.approx((whole[1] - whole[0]) / 2)
    page.keyboard.press("ArrowRight")
    settled(page)
    assert window(page)[0] > half[0]
    page.keyboard.press("0")
    settled(page)
    assert window(page) == whole
    page.keyboard.press("ArrowDown")
    label = page.evaluate("document.activeElement.textContent")
    assert label == page.evaluate("busbox.timetable.rows[1].name.textContent")
    page.keyboard.press("Enter")
    first = page.locator("#cause h3").inner_text()
    page.keyboard.press("1")
    page.keyboard.press("n")
    second = page.locator("#cause h3").inner_text()
    page.keyboard.press("2")
    settled(page)
    assert first != second
    page.keyboard.press("p")
    assert page.locator("#cause h3").inner_text() == first
    cycles = page.evaluate("busbox.view.moments[1] - busbox.view.moments[0]")
    text = page.locator("#measure").inner_text()
    assert f": {cycles:,} cycle" in text


def test_a_finding_leads_to_its_place(opened: Open) -> None:
    """The button of a finding shows its cycle in a near window, and its story."""
    page = opened(FAULTY)
    recording = Bench.load(FAULTY).run("python")
    finding = recording.findings[0]
    page.locator("[data-ask='finding.0']").click()
    settled(page)
    first, last = window(page)
    assert first <= finding.cycle <= last
    assert page.locator("#cause h3").inner_text().startswith(f"{finding.rule} in cycle")
    assert finding.message in page.locator("#cause").inner_text()
    page.wait_for_function("location.hash.includes('why=finding.0')")


@pytest.mark.parametrize(
    ("asked", "count"),
    [
        ("lamps.CONTROL", lambda r, s: _accesses_of(r, s, "lamps.CONTROL")),
        ("0x41", lambda r, s: _words(r, 0x41)),
        ("finding", lambda r, s: len(r.findings)),
        ("no such text", lambda r, s: 0),
    ],
)
def test_search_finds_what_the_recording_has(
    opened: Open, asked: str, count: Callable[[Any, Any], int]
) -> None:
    """Registers by name, words and bytes by number, findings; a hit leads to its place."""
    page = opened("first_light" if asked == "0x41" else FAULTY)
    bench = Bench.load("first_light" if asked == "0x41" else FAULTY)
    system = bench.system()
    expected = count(bench.run("python", system=system), system)
    page.locator("#search").fill(asked)
    page.wait_for_function("document.querySelector('#found').textContent !== ''")
    hits = page.locator("#found").inner_text()
    assert int(re.match(r"[\d,]+", hits)[0].replace(",", "")) == expected  # type: ignore[index]
    if expected:
        page.locator("#hits button").first.click()
        assert page.locator("#cause h3").inner_text()


def _accesses_of(recording: Any, system: Any, name: str) -> int:
    addresses = recording.accesses.address.tolist()
    return sum(system.address_map.decode(one).register == name for one in addresses)


def _words(recording: Any, value: int) -> int:
    of_bus = recording.accesses
    accesses = int((of_bus.data == value).sum() + (of_bus.address == value).sum())
    sent = sum(int((text.bytes == value).sum()) for text in recording.characters.values())
    read = sum(one.value == value for seen in recording.seen.values() for one in seen.characters)
    return accesses + sent + read


def test_the_table_holds_the_events_of_the_window(opened: Open) -> None:
    """All pages of the table together have every access of the window once, in order of cycle."""
    page = opened(BENCH)
    recording = Bench.load(BENCH).run("python")
    page.locator("#events summary").click()
    page.wait_for_function("document.querySelector('#events tbody tr')")
    cycles, asked = [], []
    while True:
        rows = page.evaluate(
            """[...document.querySelectorAll("#events tbody tr")].map(
              (row) => [row.cells[1].textContent, row.cells[3].textContent])"""
        )
        cycles += [int(cycle.replace(",", "")) for cycle, _ in rows]
        asked += [text for _, text in rows]
        if page.locator("#events .later").is_disabled():
            break
        page.locator("#events .later").click()
    assert cycles == sorted(cycles)
    verbs = [text for text in asked if text.startswith(("read of", "write of"))]
    assert len(verbs) == len(recording.accesses)


def test_the_address_brings_the_view_back(opened: Open) -> None:
    """Window, question and moments are in the address; a wrong one shows the whole run."""
    page = opened(BENCH, "#from=100&to=400&why=access.3&m1=120&m2=180")
    settled(page)
    assert window(page) == (100, 400)
    assert page.locator("#cause h3").inner_text().startswith("access 3 ")
    assert "60 cycles" in page.locator("#measure").inner_text()
    wrong = opened(BENCH, "#from=7x&to=-3&why=access.99999")
    settled(wrong)
    assert window(wrong)[0] == 0
    assert wrong.locator("#cause").inner_text() == "This run has no access.99999."


@pytest.mark.parametrize(
    ("bench", "scheme", "width"),
    [(BENCH, "dark", 1280), (FAULTY, "light", 1280), (FAULTY, "dark", 390)],
)
def test_the_page_keeps_the_rules_of_access(
    opened: Open, npm_tools: Path, bench: str, scheme: str, width: int
) -> None:
    """axe-core finds nothing against WCAG 2.2 AA, with a cause, hits and the table shown."""
    page = opened(bench, color_scheme=scheme, viewport={"width": width, "height": 800})
    page.evaluate("busbox.ask('access.0')")
    page.locator("#search").fill("lamps")
    page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
    page.wait_for_function("!document.querySelector('#hits').hidden")
    page.wait_for_timeout(200)
    assert violations(page, npm_tools) == []


@pytest.mark.parametrize("width", [390, 640, 320])
def test_narrow_and_enlarged_pages_need_no_sideways_scrolling(opened: Open, width: int) -> None:
    """At 390 pixels, and at 1280 enlarged to 200 and 400 %, the page is as wide as the screen."""
    page = opened(FAULTY, viewport={"width": width, "height": 800})
    page.evaluate("busbox.ask('lamps.line@1000')")
    settled(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_lamps_move_only_when_asked_and_slowly(opened: Open) -> None:
    """Frames stay until a click; then each stays too long for three flashes a second."""
    page = opened("mistakes/lamp_flash")
    assert "seizures" in page.locator("#lamps .caution").inner_text()
    first = page.locator("#lamps .frame").inner_text()
    page.wait_for_timeout(700)
    assert page.locator("#lamps .frame").inner_text() == first
    # WCAG 2.2, success criterion 2.3.1: three pairs of opposite changes in a second at most.
    slow = re.search(r"SLOW = (\d+);", asset("lamps.js"))
    assert slow is not None
    assert 1000 / int(slow[1]) / 2 <= 3
    page.locator("#lamps .play").click()
    moved = f"document.querySelector('#lamps .frame').textContent !== {json.dumps(first)}"
    page.wait_for_function(moved)


def test_every_row_is_summed_up_for_a_screen_reader(opened: Open) -> None:
    """The name of each row's button says what the row holds and when."""
    page = opened(BENCH)
    recording = Bench.load(BENCH).run("python")
    labels = page.evaluate(
        "busbox.timetable.rows.map((row) => row.name.getAttribute('aria-label'))"
    )
    (line,) = [label for label in labels if label.startswith("lamps.line: ")]
    assert f"{len(recording.lines['lamps.line'].cycles) - 1:,} edges" in line
    assert all(": " in label for label in labels)


def test_print_shows_the_timetable_on_white(opened: Open) -> None:
    """In print, a dark page is white, its tools are gone and the lines are there."""
    page = opened(BENCH, color_scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    settled(page)
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert paper == "rgb(255, 255, 255)"
    assert not page.locator(".tools").is_visible()
    assert page.locator("#rows canvas").first.is_visible()
    assert len(page.pdf()) > 10_000


def test_forced_colours_are_used(opened: Open) -> None:
    """Where the reader's system forces colours, the drawings use its names of colours."""
    page = opened(BENCH, forced_colors="active")
    assert page.evaluate(
        "getComputedStyle(document.documentElement).getPropertyValue('--ink')"
    ) == ("CanvasText")


def test_the_view_is_saved(opened: Open, tmp_path: Path) -> None:
    """SVG is well-formed and names every line; PNG begins as PNG (ISO/IEC 15948, 5.2)."""
    import xml.etree.ElementTree as ElementTree

    page = opened(BENCH)
    with page.expect_download() as saved:
        page.locator("#svg").click()
    text = Path(saved.value.path()).read_text(encoding="utf-8")
    words = ["".join(one.itertext()) for one in ElementTree.fromstring(text).iter()]
    for label in page.evaluate("busbox.timetable.rows.map((row) => row.line.label)"):
        assert label in words
    with page.expect_download() as saved:
        page.locator("#png").click()
    assert Path(saved.value.path()).read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_without_a_script_the_words_are_there(browser: Any, page_of: Callable[[str], Path]) -> None:
    """Verdict, findings and map can be read where no script runs."""
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(page_of(FAULTY).as_uri())
    finding = Bench.load(FAULTY).run("python").findings[0]
    assert finding.message in page.locator("main").inner_text()
    assert not page.locator(".tools").is_visible()
    context.close()


def test_types_of_the_script_are_right(npm_tools: Path, tmp_path: Path) -> None:
    """``tsc`` finds no mistake in the types that comments give."""
    assert type_mistakes({name: asset(name) for name in MODULES}, npm_tools, tmp_path) == ""


def test_lines_off_the_screen_are_drawn_when_the_view_rests(opened: Open) -> None:
    """After a change, those on the screen are drawn at once; soon all show the same view."""
    page = opened(BENCH, viewport={"width": 1280, "height": 400})
    page.wait_for_function("busbox.timetable.rows.every((r) => r.drawn === busbox.timetable.stamp)")
    page.evaluate("window.scrollTo(0, 0); busbox.view.zoom(0.5)")
    settled(page)
    now = "busbox.timetable.rows.filter((r) => r.drawn === busbox.timetable.stamp).length"
    assert page.evaluate(now) < page.evaluate("busbox.timetable.rows.length")
    page.wait_for_function(f"{now} === busbox.timetable.rows.length")


def test_a_cause_on_a_phone_can_be_closed(opened: Open) -> None:
    """The slip stays at the foot of the screen until it is closed; then it covers nothing."""
    page = opened(BENCH, viewport={"width": 390, "height": 800})
    slip, close = page.locator("#slip"), page.locator("#close")
    assert not close.is_visible()
    page.evaluate("busbox.ask('lamps.line@500')")
    assert slip.evaluate("(slip) => getComputedStyle(slip).position") == "sticky"
    close.click()
    assert slip.evaluate("(slip) => getComputedStyle(slip).position") == "static"
    assert page.evaluate("[busbox.view.asked, busbox.timetable.marked]") == ["", None]


@pytest.mark.parametrize("lamps", [1, 12, 88])
def test_frames_have_their_colours_on_the_canvas(opened: Open, lamps: int) -> None:
    """A pixel in the middle of a frame's lamp has the lamp's light, also where a lamp is one pixel."""
    page = opened(BENCH)
    seen = page.evaluate(
        """async (lamps) => {
          const row = busbox.timetable.rows.find((r) => r.line.kind === "frames");
          const { line } = row;
          const colours = Int32Array.from({ length: lamps }, (_, n) => (n * 0x10305 + 7) & 0xffffff);
          const frames = { sizes: [lamps], firsts: [0], colours, onScreen: line.frames.onScreen };
          Object.defineProperty(line, "frames", { get: () => frames });
          line.height = 96;
          row.canvas.style.height = "96px";
          line.moments = [0];
          row.drawn = -1;
          busbox.timetable.drawStale([row], busbox.timetable.scale);
          const { data } = row.canvas.getContext("2d").getImageData(300, 0, 1, 96);
          const found = [...colours].map((_, n) => {
            const [red, green, blue] = data.slice(4 * (4 + Math.floor(88 * (n + 0.5) / lamps)));
            return (red << 16) | (green << 8) | blue;
          });
          return found;
        }""",
        lamps,
    )
    assert seen == [on_screen((n * 0x10305 + 7) & 0xFFFFFF) for n in range(lamps)]


@pytest.mark.parametrize("light", ["linear", "srgb"])
def test_the_page_and_python_show_light_alike(opened: Open, light: str) -> None:
    """A colour looks alike in pictures and on the page, by either light, with white and without."""
    grey = [one * 0x010101 for one in range(256)]
    white = [one << 24 | 0x102030 for one in range(256)]
    colours = [*grey, *white, 0x010203, 0x7F80FF, 0xFFFFFFFF]
    words = asset("words.js").replace("export ", "")
    page = opened(BENCH)
    found = page.evaluate(
        f"(colours) => {{ {words}; return colours.map((one) => onScreen(one, '{light}')); }}",
        colours,
    )
    assert found == [on_screen(one, light) for one in colours]
