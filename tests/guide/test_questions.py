"""Questions of people who use Busbox for the first time: each is answered on one page.

The page is a topic of the guide, or README.md. The words that answer stand in it one after the other,
without anything between them but marks of Markdown.
"""

from __future__ import annotations

import re

import pytest

from busbox.guide.topics import find_topic
from tests.test_documents import text_of

pytestmark = pytest.mark.quick

#: Question, page, words that answer it.
QUESTIONS = [
    (
        "What does wait in a CSV row count?",
        "csv",
        "idle cycles of the CPU between the end of the access before and the start of this one",
    ),
    ("What does wait in a slot mean?", "words", "the cycles that the bus adds to every access"),
    ("Which pins has the uart?", "uart", "interrupt output after reset 0"),
    (
        "How do I end a run after 5 ms?",
        "pins",
        'busbox run BENCH --until "5 ms" ends the run after 5 ms',
    ),
    (
        "What does exit code 1 of run mean?",
        "exit-codes",
        "an expectation is not met, the CPU hangs",
    ),
    (
        "How do I make two slots answer at images?",
        "addresses",
        "give each compare with the bits that tell them apart",
    ),
    ("What is the default of a slot's wait?", "bench", "(cycles); default: 1. Example: wait = 2"),
    ("How do I write a time in cycles?", "bench", "or a whole number of cycles, such as 250_000"),
    (
        "How do I write one byte into lane 1?",
        "steps",
        "write levers.OUT 0x0500 lanes 0010 writes 0x05 to byte 1",
    ),
    (
        "When does a poll give up?",
        "steps",
        "after limit reads (default 10,000,000) the poll gives up",
    ),
    ("What starts a handler?", "steps", "are played whenever the pin is high"),
    (
        "In which cycle does the second read of a poll begin?",
        "cycles",
        "it is read again after every idle cycles: s' = e + 1 + every",
    ),
    (
        "What happens at an address that nothing answers?",
        "addresses",
        "An address that no slot decodes is answered with ERR after one cycle",
    ),
    ("How do I clear a bit of an ones_clear field?", "device", "write 1 to clear"),
    (
        "What is the default of Register's access?",
        "device",
        'access "rw" of every field without its own',
    ),
    (
        "How do I check the last colours on the string?",
        "expectations",
        "frame counts from 0; -1, the default, is the last frame",
    ),
    (
        "How do I see the source line that caused an edge?",
        "why",
        'need firmware = "cabin.elf" in the bench, compiled with -g',
    ),
    ("Where is the recording of a run?", "recording", "writes NAME.recording.npz and NAME.json"),
    ("What number is the terminator ERR?", "recording", "0 ack, 1 error, 2 watchdog"),
    (
        "Which profile does my lamp need at 16 MHz?",
        "lamps",
        "P4 zero high 6, one high 13, bit 20, gap 802",
    ),
    (
        "May I feed 60 lamps from the board?",
        "cautions",
        "never from a board's pin or regulator beyond a few lamps",
    ),
    (
        "Which engine runs if I name none?",
        "engines",
        "Without --engine, the fastest that is installed is taken",
    ),
    (
        "How do I make a build fail on any finding?",
        "exit-codes",
        "in a script or a build, use --strict",
    ),
    ("How do I answer the firmware's text?", "pins", "A reply sends bytes when a slot has sent"),
    ("What is the reset value of the timer's ALARM?", "timer", "ALARM 0x8 31..0 rw 0x0"),
    (
        "What must I do about byte-lost?",
        "byte-lost",
        "Before each byte, wait until TX_ROOM in STATUS is 1",
    ),
    (
        "How do I write a bounce of a switch?",
        "switch",
        "bounce: How long the contact bounces after a change.",
    ),
    ("How do I install it on Windows?", "README.md", "py -3 -m venv .venv"),
    ("How do I change the clock for one run?", "README.md", '--set clock="24 MHz"'),
]


def words_of(page: str) -> str:
    """Return the words of a page, without marks of Markdown."""
    text = text_of(page) if page.endswith(".md") else find_topic(page).make()
    text = re.sub(r"`{3}\w*|[`*|]|^#+ |\\(?=[|<\[\]*])", " ", text, flags=re.MULTILINE)
    return re.sub(r" ([.,;:)])(?=\s|$)", r"\1", " ".join(text.split()))


@pytest.mark.parametrize(("question", "page", "answer"), QUESTIONS)
def test_a_question_is_answered_on_one_page(question: str, page: str, answer: str) -> None:
    """The answer stands on the page that is named, in one piece."""
    assert answer in words_of(page), question


def test_there_are_twenty_questions_at_least() -> None:
    """No question is asked twice."""
    questions = {question for question, _, _ in QUESTIONS}
    assert len(questions) == len(QUESTIONS) >= 20
