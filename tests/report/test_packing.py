"""What is packed comes out again, by a reader that shares no code with the writer."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.basics.phrases import GAP, Phrases
from busbox.report.packing import EXACT, Columns, varints
from tests.report.page_script import asked_of_page, needs_node
from tests.report.unpacked import unpacked

pytestmark = pytest.mark.quick

EDGES = [0, 1, -1, 63, 64, -64, -65, 127, 128, 255, 256, 8191, 8192, 2**31 - 1, 2**31, -(2**31),
         -(2**31) - 1, 2**32 - 1, EXACT // 2 - 1, 1 - EXACT // 2]  # fmt: skip
numbers = st.lists(st.one_of(st.sampled_from(EDGES), st.integers(-(2**50), 2**50)), max_size=40)


@given(st.lists(st.tuples(numbers, st.booleans()), max_size=5), st.text(max_size=10))
def test_columns_and_facts_come_out_again(drawn: list[tuple[list[int], bool]], text: str) -> None:
    """Each column, as it is or as differences, and the facts, whatever letters they hold."""
    columns = Columns()
    for number, (values, delta) in enumerate(drawn):
        columns.add(str(number), values, delta=delta)
    facts, found = unpacked(columns.packed({"text": text}))
    assert facts["text"] == text
    assert found == {str(number): values for number, (values, _) in enumerate(drawn)}


@pytest.mark.parametrize(
    ("number", "contents"), [(2, b"\x02"), (127, b"\x7f"), (128, b"\x80\x01"), (12857, b"\xb9\x64")]
)
def test_numbers_are_written_as_the_standard_shows(number: int, contents: bytes) -> None:
    """Source: DWARF 5, section 7.6, table 7.7: examples of unsigned LEB128; zigzag makes 2 n of n."""
    half, odd = divmod(number, 2)
    assert varints([-half - 1 if odd else half]) == contents


@pytest.mark.parametrize("values", [[EXACT], [-EXACT], [-EXACT // 2 - 1, EXACT // 2]])
def test_what_javascript_cannot_hold_is_refused(values: list[int]) -> None:
    """A number, or a difference, of 2**52 or more is an error and not another number."""
    with pytest.raises(ValueError, match=r"numbers of 'a' must be below 2\*\*52"):
        Columns().add("a", values, delta=True)


def test_a_name_is_taken_once() -> None:
    """Two columns of one name are refused."""
    columns = Columns()
    columns.add("a", [1])
    with pytest.raises(ValueError, match="there is a column 'a' already"):
        columns.add("a", [2])


WORDS = st.lists(
    st.sampled_from(["frame", "3", "0", "07", "1,234", "0x41", "12", "62.5", "a7", "-"])
)


@given(st.lists(WORDS.map(" ".join), max_size=20))
def test_sentences_come_out_again(texts: list[str]) -> None:
    """A sentence is its form with the numbers of its row in the gaps, whatever is a number in it."""
    columns = Columns()
    put = columns.add_phrases("s", Phrases.of(texts))
    _, found = unpacked(columns.packed({}))
    values = list(found.values())
    rows = [0] * len(put["forms"])
    again = []
    for form in values[put["which"]]:
        row, text = rows[form], put["forms"][form]
        rows[form] += 1
        for column in put["numbers"][form]:
            text = text.replace(GAP, str(values[column][row]), 1)
        again.append(text)
    assert again == texts


@needs_node
@settings(max_examples=3, deadline=None)
@given(numbers)
def test_the_page_reads_what_was_packed(values: list[int]) -> None:
    """The page's own reader gives the numbers, with and without differences."""
    import tempfile

    columns = Columns()
    values = EDGES + values
    columns.add("plain", values)
    columns.add("delta", values, delta=True)
    code = """
const { columns } = await modules["data.js"].unpack(given);
const result = [Array.from(columns.get("plain")), Array.from(columns.get("delta"))];
"""
    with tempfile.TemporaryDirectory() as folder:
        assert asked_of_page(code, columns.packed({}), Path(folder)) == [values, values]
