"""What the page of lessons does in a browser: by mouse, keys and finger, on paper, offline."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from busbox.lessons.drawing import variant
from busbox.lessons.expressions import filled
from busbox.lessons.finding import NUMBERS, lesson
from busbox.lessons.judging import judge, wrong_answer
from busbox.lessons.page import lesson_page
from busbox.lessons.reply import shown
from busbox.lessons.script import MODULES, asset
from tests.npm import type_mistakes, violations

Open = Callable[..., Any]

FOCUSED = "document.activeElement.textContent"

DESKTOP = {"viewport": {"width": 1280, "height": 800}}
PHONE = {"viewport": {"width": 390, "height": 800}, "has_touch": True, "is_mobile": True}


def answer_line(page: Any) -> str:
    """Return the sentence of the result."""
    return page.locator("#result .answer").inner_text()


def facts(page: Any) -> dict[str, str]:
    """Return the result by its names."""
    names = page.locator("#result dt").all_inner_texts()
    return dict(zip(names, page.locator("#result dd").all_inner_texts(), strict=True))


def cell(page: Any, bit: int) -> Any:
    """Return the cell of a bit."""
    return page.get_by_role("button", name=re.compile(f"^bit {bit} [01]$"))


def type_address(page: Any, text: str) -> None:
    """Type an address."""
    page.locator("#address input").fill(text)


def fill_answer(page: Any, number: int, answer: dict[str, int]) -> None:
    """Type or choose the answer to a lesson."""
    for field in lesson(number).fields:
        text = shown(field, answer[field.name])
        if field.kind == "choice":
            group = page.locator(".choices").filter(has_text=field.label)
            group.get_by_label(text, exact=True).check()
        else:
            label = f"{field.name} ({field.label})" if field.name[0].isupper() else field.label
            if field.kind == "bits":
                label += ", lanes 3 2 1 0"
            page.locator(".fields").get_by_label(label, exact=True).fill(text)


COMMON = (
    "#at=0x40001005&map=store~memory~0x0~0x4000~full~1~;levers~gpio~0x40000000~0x4000~full~3~telegraph;"
    "telegraph~uart~0x40001000~0x1000~full~1~;lamps~pulse_led~0x44000000~0x1000~31..24~1~"
)


@pytest.mark.quick
def test_a_bit_turned_over_decodes_anew(opened_lessons: Open) -> None:
    """A click on a cell changes the digits, the rows and the result; who gives way is said."""
    page = opened_lessons(COMMON, **DESKTOP)
    assert answer_line(page) == "0x40001005 reaches telegraph.STATUS."
    assert (
        page.get_by_role("img", name=re.compile("^levers,.*: gives way to telegraph$")).count() == 1
    )
    cell(page, 12).click()
    assert answer_line(page) == "0x40000005 reaches levers.SET."
    assert page.locator("#address input").input_value() == "0x40000005"
    cell(page, 31).click()
    assert answer_line(page) == "0xc0000005: nobody answers."
    assert facts(page)["ends with"] == "ERR after 2 cycles"


def test_an_image_is_counted_from_0(opened_lessons: Open) -> None:
    """Image k of n, where it begins, and byte lane, SEL and data bits of the address."""
    page = opened_lessons(COMMON, **DESKTOP)
    type_address(page, "0x44801009")
    assert answer_line(page) == "0x44801009 reaches lamps.COUNT, by image 2,049."
    found = facts(page)
    assert found["image"].startswith("image 2,049 of 4,096, counted from 0 to 4,095")
    assert "0x44801000" in found["image"]
    assert found["offset"] == "0x9 inside lamps"
    assert found["word"].startswith("0x44801008")
    assert found["byte lane"] == "1: SEL(1), data bits 15..8"
    assert page.locator(".lanes tr").nth(1).inner_text().split() == ["SEL", "0", "0", "1", "0"]


def test_an_address_without_0x_is_asked_about(opened_lessons: Open) -> None:
    """40001005 is neither taken as hexadecimal nor as decimal: the reader says which."""
    page = opened_lessons(COMMON, **DESKTOP)
    type_address(page, "0x0")
    type_address(page, "4000_1005")
    note = page.locator("#address .note")
    assert "is it hexadecimal or decimal?" in note.inner_text()
    assert answer_line(page).startswith("0x00000000")
    note.get_by_role("button", name="hexadecimal").click()
    assert answer_line(page) == "0x40001005 reaches telegraph.STATUS."
    type_address(page, "44000008")
    note.get_by_role("button", name=re.compile("^decimal: ")).click()
    assert answer_line(page) == f"{44000008:#010x}: nobody answers."
    type_address(page, "0x4400zz")
    assert "must be a number such as 0x40001005" in note.inner_text()


def test_the_keyboard_alone_does_it_all(opened_lessons: Open) -> None:
    """Keys reach the cells, choose a bit, turn it over, count, and go to a window of the map."""
    page = opened_lessons(COMMON, **DESKTOP)
    page.locator("#address input").focus()
    page.keyboard.press("Tab")
    assert page.evaluate(FOCUSED).startswith("bit 31 ")
    page.keyboard.press("End")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Space")
    assert answer_line(page).startswith("0x40001007")
    assert page.evaluate(FOCUSED).startswith("bit 1 ")
    page.keyboard.press("ArrowUp")
    assert answer_line(page).startswith("0x40001009")
    page.keyboard.press("Home")
    page.keyboard.press("ArrowDown")
    assert answer_line(page).startswith("0xc0001009")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    first = re.search("0x[0-9a-f]{8}", page.evaluate(FOCUSED))
    assert first is not None
    page.keyboard.press("Enter")
    assert answer_line(page).startswith(first[0])
    assert first[0] in page.evaluate(FOCUSED)


def test_a_lesson_is_solved_by_keys(opened_lessons: Open) -> None:
    """From the row of lessons to a verdict and on to the next lesson, without a pointer."""
    page = opened_lessons("", **DESKTOP)
    page.locator(".lesson").nth(3).focus()
    page.keyboard.press("Enter")
    assert page.evaluate(FOCUSED).startswith("Lesson 4:")
    right = lesson(4).answer(variant(lesson(4), 1).numbers)
    while page.evaluate("document.activeElement.tagName") != "INPUT":
        page.keyboard.press("Tab")
    for field in lesson(4).fields:
        page.keyboard.type(shown(field, right[field.name]))
        page.keyboard.press("Tab")
    assert page.evaluate(FOCUSED) == "Check the answer"
    page.keyboard.press("Enter")
    assert "passes" in page.locator(".reply").inner_text()
    page.get_by_role("button", name="Go on to lesson 5").focus()
    page.keyboard.press("Enter")
    assert page.locator(".task h3").inner_text().startswith("Lesson 5:")


def test_a_map_is_edited_and_refused_at_the_field(opened_lessons: Open) -> None:
    """A base that is no multiple is refused at its field, and the last good map stays."""
    page = opened_lessons(COMMON, **DESKTOP)
    page.locator("#own summary").click()
    card = page.locator(".card").filter(has=page.locator("legend", has_text=re.compile("^lamps$")))
    card.get_by_label("base").fill("0x44000100")
    note = card.locator(".note").filter(has_text="multiple of the size")
    assert "0x1000" in note.inner_text()
    assert card.get_by_label("base").get_attribute("aria-invalid") == "true"
    assert "last good map" in page.locator(".status").inner_text()
    type_address(page, "0x44000008")
    assert answer_line(page) == "0x44000008 reaches lamps.COUNT."
    card.get_by_label("base").fill("0x48000000")
    assert page.locator(".status").inner_text() == ""
    assert answer_line(page) == "0x44000008: nobody answers."
    levers = page.locator(".card").filter(
        has=page.locator("legend", has_text=re.compile("^levers$"))
    )
    levers.get_by_label("telegraph").uncheck()
    assert "both levers and telegraph answer at 0x40001000" in page.locator(".cards").inner_text()
    page.get_by_role("button", name="Add a slot").click()
    page.get_by_role("button", name="Back to the common map").click()
    assert page.locator(".status").inner_text() == ""
    page.get_by_label("where nobody answers").select_option("silence")
    type_address(page, "0x90000000")
    assert "waits for ever" in facts(page)["ends with"]
    page.get_by_label("watchdog, in cycles").fill("20")
    assert facts(page)["ends with"] == "ERR after 21 cycles"


def test_a_map_may_compare_some_bits_or_be_a_range(opened_lessons: Open) -> None:
    """Chosen bits make images; a range may have any size and base; bits that are none are refused."""
    page = opened_lessons("#at=0x40000000&map=levers~gpio~0x40000000~0x1000~full~1~", **DESKTOP)
    page.locator("#own summary").click()
    page.get_by_label("the decoder compares").select_option("compare")
    page.get_by_label("compared bits").fill("31..28")
    type_address(page, "0x40801004")
    assert answer_line(page) == "0x40801004 reaches levers.SET, by image 2,049."
    page.get_by_label("compared bits").fill("31..33")
    assert "bits from 31 to 2" in page.locator(".cards").inner_text()
    assert answer_line(page) == "0x40801004 reaches levers.SET, by image 2,049."
    page.get_by_label("the decoder compares").select_option("range")
    page.get_by_label("size in bytes").fill("0x801008")
    assert answer_line(page).startswith("0x40801004 reaches levers, offset 0x801004")
    assert page.locator("#cells .bar").first.is_visible()


def test_the_address_bar_brings_everything_back(opened_lessons: Open) -> None:
    """Address, map, lesson, seed, answer and tries are in the address bar, and nowhere else."""
    page = opened_lessons(COMMON, **DESKTOP)
    page.get_by_role("button", name=re.compile("^4 ?Bases")).click()
    page.get_by_role("button", name="Other numbers").click()
    page.locator(".fields input").first.fill("0x20000004")
    page.get_by_role("button", name="Check the answer").click()
    page.locator(".fields input").nth(1).fill("0x1")
    page.locator(".fields input").nth(2).fill("0x2")
    page.get_by_role("button", name="Check the answer").click()
    type_address(page, "0x20001234")
    page.wait_for_function("location.hash.includes('20001234')")
    again = opened_lessons(page.evaluate("location.hash"), **DESKTOP)
    for look in (
        "[...document.querySelectorAll('.fields input')].map((one) => one.value)",
        "document.querySelector('.task h3').textContent",
        "document.querySelector('#result').textContent",
        "document.querySelector('#map').textContent",
    ):
        assert again.evaluate(look) == page.evaluate(look)
    assert "Try 1 of 3" in again.locator(".reply").inner_text()
    stores = "[localStorage.length, sessionStorage.length, document.cookie]"
    assert again.evaluate(stores) == [0, 0, ""]
    wrong = opened_lessons("#at=0x1&map=levers~gpio~0x4~0x1000~full~1~&lesson=99", **DESKTOP)
    assert "the map and lesson 99 could not be used" in wrong.locator("#trouble").inner_text()
    assert wrong.locator(".task h3").inner_text().startswith("Lesson 1:")


@pytest.mark.parametrize("number", NUMBERS)
def test_each_lesson_is_judged_on_the_page(opened_lessons: Open, number: int) -> None:
    """The right answer passes; a typical wrong one gets Python's words, a hint, and a code."""
    page = opened_lessons(f"#lesson={number}&seed=2", **DESKTOP)
    drawn = variant(lesson(number), 2)
    wrong = wrong_answer(drawn.lesson, drawn.numbers, drawn.lesson.wrong[0])
    fill_answer(page, number, wrong)
    page.get_by_role("button", name="Check the answer").click()
    reply = page.locator(".reply").inner_text()
    assert "not yet" in reply
    for said in judge(drawn.lesson, drawn.numbers, wrong).said:
        assert " ".join(said.split()) in " ".join(reply.split())
    assert "Try 1 of 3" in reply
    assert "Hint:" in reply
    assert re.search("busbox lesson --code [A-Z2-7]+", reply)
    fill_answer(page, number, drawn.lesson.answer(drawn.numbers))
    page.get_by_role("button", name="Check the answer").click()
    reply = page.locator(".reply").inner_text()
    assert "passes" in reply
    assert "Checked on the page" in reply
    assert "passed" in page.locator(".lesson").nth(number - 1).inner_text()


def test_a_student_takes_the_seed_of_the_sheet(opened_lessons: Open) -> None:
    """A seed can be chosen by its number, and gives the task of the tool; the next lesson keeps it."""
    page = opened_lessons("#lesson=4", **DESKTOP)
    page.get_by_label("Seed of the numbers").select_option("2")
    numbers = variant(lesson(4), 2).numbers
    task = filled(lesson(4).task, numbers)
    assert " ".join(task.split()) in " ".join(page.locator(".task").inner_text().split())
    page.locator(".lesson").nth(6).click()
    assert page.get_by_label("Seed of the numbers").input_value() == "2"


def test_after_three_tries_comes_the_solution(opened_lessons: Open) -> None:
    """What is not readable is no try; a try gives a hint, the third one the worked solution."""
    page = opened_lessons("#lesson=3&seed=1", **DESKTOP)
    check = page.get_by_role("button", name="Check the answer")
    check.click()
    assert "This does not count as a try" in page.locator(".reply").inner_text()
    for place, text in enumerate(("0x10", "4", "28")):
        page.locator(".fields input").nth(place).fill(text)
    for hint in lesson(3).hints[:2]:
        check.click()
        start = hint.partition("{")[0]
        assert start in page.locator(".reply").inner_text()
        assert "worked solution" not in page.locator(".reply").inner_text()
    check.click()
    assert "The worked solution" in page.locator(".reply").inner_text()


@pytest.mark.parametrize(
    ("scheme", "options", "number"),
    [("light", DESKTOP, 9), ("dark", DESKTOP, 11), ("dark", PHONE, 8)],
)
def test_the_page_keeps_the_rules_of_access(
    opened_lessons: Open, npm_tools: Path, scheme: str, options: dict[str, Any], number: int
) -> None:
    """axe-core finds nothing against WCAG 2.2 AA; a refusal, a question, a verdict are shown."""
    page = opened_lessons(f"#lesson={number}&seed=1", color_scheme=scheme, **options)
    drawn = variant(lesson(number), 1)
    fill_answer(page, number, wrong_answer(drawn.lesson, drawn.numbers, drawn.lesson.wrong[0]))
    page.get_by_role("button", name="Check the answer").click()
    type_address(page, "40001005")
    page.locator("#own summary").click()
    page.locator(".card").get_by_label("base").first.fill("0x44000100")
    assert violations(page, npm_tools) == []


@pytest.mark.parametrize("width", [1280, 640, 390, 320])
def test_no_page_needs_sideways_scrolling(opened_lessons: Open, width: int) -> None:
    """On a desktop, at 200 and 400 %, and on a phone, the page is as wide as the screen."""
    for number in (1, 9, 11):
        page = opened_lessons(f"#lesson={number}", viewport={"width": width, "height": 800})
        page.evaluate("document.querySelector('#own').open = true")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.close()


def test_cells_are_large_enough_for_a_finger(opened_lessons: Open) -> None:
    """On a phone every bit can be tapped: a cell has 24 by 24 pixels at least (WCAG 2.2, 2.5.8)."""
    page = opened_lessons(COMMON, **PHONE)
    sizes = page.evaluate(
        "[...document.querySelectorAll('.cell')].map((one) => one.getBoundingClientRect())"
        ".map((box) => Math.min(box.width, box.height))"
    )
    assert len(sizes) == 32
    assert min(sizes) >= 24
    cell(page, 12).tap()
    assert answer_line(page) == "0x40000005 reaches levers.SET."


def test_signs_can_be_told_apart_without_colour(opened_lessons: Open) -> None:
    """Equal, different, not compared and inside each have a shape of their own."""
    page = opened_lessons(
        COMMON.replace("0x40001005", "0x46001005"), forced_colors="active", **DESKTOP
    )
    kinds = ("equal", "differs", "free", "inside")
    looks = [
        page.evaluate(
            f"""(() => {{ const one = document.querySelector('#cells .{kind}');
            const sign = getComputedStyle(one, '::before');
            return [one.textContent !== '', getComputedStyle(one).borderStyle, sign.borderStyle,
              sign.width].join(); }})()"""
        )
        for kind in kinds
    ]
    assert len({*looks}) == len(kinds)
    paper = "getComputedStyle(document.documentElement).getPropertyValue('--ink')"
    assert page.evaluate(paper) == "CanvasText"


def test_print_is_white_and_complete(opened_lessons: Open) -> None:
    """In print, a dark page is white; task, cells, result and map are there."""
    page = opened_lessons(COMMON, color_scheme="dark", **DESKTOP)
    page.emulate_media(media="print", color_scheme="dark")
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert paper == "rgb(255, 255, 255)"
    for part in (".task h3", "#cells .cell", "#result .answer", "#map .stretch"):
        assert page.locator(part).first.is_visible()
    assert not page.locator("#editor .tools").is_visible()
    assert len(page.pdf()) > 10_000


def test_the_page_is_one_small_file() -> None:
    """Twelve times thirty variants are less than 1 MB; nothing is loaded from elsewhere."""
    variants = [variant(lesson(4), seed) for seed in range(1, 31)]
    page = lesson_page([variants])
    alone = lesson_page([])
    assert len(alone.encode()) + 12 * (len(page.encode()) - len(alone.encode())) < 1_000_000
    assert not re.search(r"""(src|href)=["'](?!data:,|#)|@import|url\(|fetch\(|XMLHttp""", page)


def test_a_page_without_a_lesson_decodes(browser: Any, tmp_path: Path) -> None:
    """Without lessons, the page is the decoder of the common map."""
    file = tmp_path / "page.html"
    file.write_text(lesson_page([]), encoding="utf-8")
    page = browser.new_page()
    page.goto(file.as_uri())
    page.wait_for_selector("body.ready")
    assert answer_line(page) == "0x40001005 reaches telegraph.STATUS."
    assert not page.locator("#lessons").is_visible()
    page.close()


def test_types_of_the_script_are_right(npm_tools: Path, tmp_path: Path) -> None:
    """``tsc`` finds no mistake in the types that comments give."""
    assert type_mistakes({name: asset(name) for name in MODULES}, npm_tools, tmp_path) == ""


def test_texts_of_the_page_have_no_template_left(lessons_page: Path, opened_lessons: Open) -> None:
    """No task, hint or solution shows a brace of a template."""
    page = opened_lessons("", **DESKTOP)
    texts = page.evaluate(
        "busbox.tasks.data.lessons.flat()"
        ".map((one) => [one.task, one.solution, one.learns, ...one.hints])"
    )
    assert len(texts) == 2 * len(NUMBERS)
    assert not [text for text in json.loads(json.dumps(texts)) if "{" in "".join(text)]
