"""Questions of people who use Busbox for the first time: each is answered on one page.

The page is a topic of the guide, or README.md. It has the words of the answer one after the other, with
nothing but marks of Markdown between them.
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
        "idle cycles of the CPU between the end of the previous access and the start of this one",
    ),
    ("What does wait in a slot mean?", "words", "the cycles that the bus adds to every access"),
    ("Which pins has the uart?", "uart", "interrupt output after reset 0"),
    (
        "How do I end a run after 5 ms?",
        "run",
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
        "After limit reads (default 10,000,000) the poll gives up",
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
        "An address that no slot decodes is answered with ERR",
    ),
    (
        "Why does my C driver's delay loop take no time?",
        "host-driver",
        "call bus_idle in its place, or poll a timer",
    ),
    (
        "Where does the output of a C driver go?",
        "host-driver",
        "What the driver prints goes to standard error",
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
    ("How do I draw the address map as a picture?", "draw", "draw first_light map -o map.svg"),
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
        "Without --engine, Busbox chooses the fastest one for the bench",
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
    (
        "What does +4 in a step count?",
        "steps",
        "+4: 4 idle cycles between the end of the previous step and the start of this access",
    ),
    ("What does exit code 143 mean?", "exit-codes", "143 SIGTERM ended it"),
    (
        "Do findings alone make a run fail?",
        "exit-codes",
        "Findings alone leave the code at 0",
    ),
    (
        "How do two slots share an address range?",
        "addresses",
        'yields_to = ["levers"] # where both decode an address, levers answers',
    ),
    (
        "What is an image?",
        "addresses",
        "An image (also called an alias) is a further address range in which a slot answers",
    ),
    (
        "How do I use my own Amaranth component?",
        "hardware",
        'model = "bell.py:Bell" # the class in the file beside the bench',
    ),
    (
        "What does the firmware do after a poll's limit?",
        "steps",
        "the run reports poll-timeout and goes on with the next step",
    ),
    ("At which level does the line of a uart rest?", "uart", "tx output after reset 1"),
    (
        "How do I use a lamp profile of my own?",
        "lamps",
        "Add a table [profile.NAME] with the times from the data sheet of your lamps, and use its "
        "name as profile in [attach.NAME]",
    ),
    ("How do I connect a terminal?", "serial", 'kind = "terminal" pin = "telegraph.tx"'),
    (
        "What happens in a reset by the board?",
        "pins",
        "all registers take their reset values, and an access in progress is cut off",
    ),
    ("Does memory survive a reset?", "pins", "Memories keep their contents"),
    (
        "How do I run benches in pytest?",
        "pytest",
        "pytest --busbox benches/ finds every bench.toml below a folder",
    ),
    (
        "How does my editor complete keys?",
        "bench",
        "add the line and run busbox schema > bench.schema.json in its folder",
    ),
    ("How does my shell complete commands?", "verbs", "fish, ~/.config/fish/config.fish: busbox"),
    (
        "Where does a recording keep its bench?",
        "recording",
        "The bench is inside the same file, with its traffic and its Python files",
    ),
    (
        "How do I say that a finding must not occur?",
        "expectations",
        "exactly = 0 says that the finding must not occur",
    ),
    (
        "In which cycle does a write act?",
        "cycles",
        "A write acts at the end of cycle e, so its effect, on a register or a pin, shows from "
        "cycle e + 1 on",
    ),
    (
        "How do I trace a wrong colour to the line of C?",
        "why",
        "the write that set the colour of that lamp, with its line of C",
    ),
    (
        "What does settle do?",
        "run",
        "settle says how long the run goes on after the last step for devices that are still busy",
    ),
    (
        "What may I do about 48 bits, 24 a lamp?",
        "lamps",
        "48 bits at 24 a lamp are two whole lamps",
    ),
    ("How do I write a waveform file?", "recording", "--vcd FILE writes bus, slots and pins"),
    (
        "How do I see a register in the middle of a run?",
        "why",
        "--at takes a time or a cycle",
    ),
    (
        "How do I send text to the firmware?",
        "pins",
        "bytes on a serial line, 8N1, starting at 3 ms",
    ),
    (
        "What if a device answers differently from the trace?",
        "firmware",
        "If a device answers differently from the recorded word, that is a finding",
    ),
    (
        "How do I write a byte at an odd address?",
        "addresses",
        "byte at 0x40001001 0x40001000 0010 bits 15..8",
    ),
    ("How do I accept a known finding?", "findings", "To accept a known finding, expect it"),
    (
        "What is the level of a pin that nobody drives?",
        "pins",
        "has the level 2 in a recording",
    ),
    ("When does a run end by itself?", "run", "when no step is left and every device is at rest"),
    (
        "Which rows does the summary show for a slot?",
        "run",
        "Accesses are the reads and writes of each slot, and the cycles that they waited",
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
    """The page that is named has the answer, in one piece."""
    assert answer in words_of(page), question


def test_there_are_twenty_questions_at_least() -> None:
    """No question is asked twice."""
    questions = {question for question, _, _ in QUESTIONS}
    assert len(questions) == len(QUESTIONS) >= 20
