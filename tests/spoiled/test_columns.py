"""Traffic in the CSV format that cannot be read."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

OPS = "read, write, poll, until, pause, mark, await or reset"

CASES = (
    Spoiled(
        "An empty file has no header.",
        (
            "busbox: day.csv:1: the first line must be wait,op,address,data,lanes[,pc]"
            "[,mask,value,every,limit][,text][,since,keep], not ''\n"
        ),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ""},
    ),
    Spoiled(
        "The header must have all its names.",
        (
            "busbox: day.csv:1: the first line must be wait,op,address,data,lanes[,pc]"
            "[,mask,value,every,limit][,text][,since,keep], not 'wait,op,address,data'\n"
        ),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data\n0,write,0x40000000,1,1111\n")},
    ),
    Spoiled(
        "The header must be in its order.",
        (
            "busbox: day.csv:1: the first line must be wait,op,address,data,lanes[,pc]"
            "[,mask,value,every,limit][,text][,since,keep], not 'op,wait,address,data,lanes'\n"
        ),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("op,wait,address,data,lanes\n0,write,0x40000000,1,1111\n")},
    ),
    Spoiled(
        "A file without a header is told what it must be.",
        (
            "busbox: day.csv:1: the first line must be wait,op,address,data,lanes[,pc]"
            "[,mask,value,every,limit][,text][,since,keep], not '0,write,0x40000000,1,1111'\n"
        ),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("0,write,0x40000000,1,1111\n0,write,0x40000000,1,1111\n")},
    ),
    Spoiled(
        "A row must have all its cells.",
        ("busbox: day.csv:3: a row must have 5 cells (wait, op, address, data, lanes), not 4\n"),
        edits=(('"day.steps"', '"day.csv"'),),
        files={
            "day.csv": (
                "wait,op,address,data,lanes\n0,write,0x40000000,1,1111\n0,write,0x40000000,1\n"
            )
        },
    ),
    Spoiled(
        "A row must have no further cell.",
        ("busbox: day.csv:3: a row must have 5 cells (wait, op, address, data, lanes), not 6\n"),
        edits=(('"day.steps"', '"day.csv"'),),
        files={
            "day.csv": (
                "wait,op,address,data,lanes\n"
                "0,write,0x40000000,1,1111\n"
                "0,write,0x40000000,1,1111,0x20\n"
            )
        },
    ),
    Spoiled(
        "Under a header with pc a row must have one more.",
        (
            "busbox: day.csv:2: a row must have 6 cells (wait, op, address, data, lanes, "
            "pc), not 5\n"
        ),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes,pc\n0,write,0x40000000,1,1111\n")},
    ),
    Spoiled(
        "An operation is one of a few.",
        f"busbox: day.csv:3: op must be {OPS}, not 'wirte'; did you mean 'write'?\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={
            "day.csv": (
                "wait,op,address,data,lanes\n0,write,0x40000000,1,1111\n0,wirte,0x40000000,1,1111\n"
            )
        },
    ),
    Spoiled(
        "An operation is written in small letters.",
        f"busbox: day.csv:2: op must be {OPS}, not 'READ'; did you mean 'read'?\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,READ,0x40000000,1,1111\n")},
    ),
    Spoiled(
        "An operation must be there.",
        f"busbox: day.csv:2: op must be {OPS}, not ''\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,,0x40000000,1,1111\n")},
    ),
    Spoiled(
        "A write must have data.",
        ("busbox: day.csv:2: a write needs data; only the data of a read may be empty\n"),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,write,0x40000000,,1111\n")},
    ),
    Spoiled(
        "Data must be a number.",
        "busbox: day.csv:2: data must be a number such as 12 or 0x0c, not '1.0'\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,write,0x40000000,1.0,1111\n")},
    ),
    Spoiled(
        "Data must fit in a word.",
        "busbox: day.csv:2: data must be at most 0xffffffff, not '4294967296'\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,write,0x40000000,4294967296,1111\n")},
    ),
    Spoiled(
        "An address must be a number or a whole name.",
        ("busbox: day.csv:2: an address must be a number such as 12 or 0x0c, not 'levers'\n"),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,read,levers,,1111\n")},
    ),
    Spoiled(
        "A name must be in the map.",
        "busbox: day.csv:2: levers has no register 'OTU'; did you mean 'OUT'?\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,read,levers.OTU,,1111\n")},
    ),
    *(
        Spoiled(
            says,
            f"busbox: day.csv:2: {told}\n",
            edits=(('"day.steps"', '"day.csv"'),),
            files={
                "day.csv": "wait,op,address,data,lanes,pc,mask,value,every,limit,text\n"
                + row
                + "\n"
            },
        )
        for says, told, row in (
            (
                "A poll compares a value.",
                "value must be a number such as 12 or 0x0c, not ''",
                "0,poll,0x40000010,,1111,,0x10,,,,",
            ),
            (
                "A poll must be able to end.",
                "poll can never end: 0x8 has bits outside the mask 0x10",
                "0,poll,0x40000010,,1111,,0x10,8,,,",
            ),
            (
                "A poll reads once at least.",
                "limit must be at least 1, not 0",
                "0,poll,0x40000010,,1111,,,8,,0,",
            ),
            (
                "A poll has no data.",
                "data must be empty: poll does not use it",
                "0,poll,0x40000010,1,1111,,,8,,,",
            ),
            (
                "An access has no mask.",
                "mask and value must be empty: write does not use it",
                "0,write,0x40000000,1,1111,,1,1,,,",
            ),
            (
                "A pause has a time.",
                "a time must be a number with s, ms, us, ns or ps, or whole cycles, not 'long'",
                "long,pause,,,,,,,,,",
            ),
            ("A mark has a text.", "a mark needs text", ",mark,,,,,,,,,"),
            (
                "An await names a pin.",
                "text must be a pin such as levers.in.4, not 'in'",
                ",await,,,,,,1,,,in",
            ),
            (
                "An await has a level.",
                "value must be the level of the pin, 0 or 1, not '2'",
                ",await,,,,,,2,,,levers.in.4",
            ),
            (
                "An await lasts a cycle at least.",
                "limit must be at least one cycle, not 0",
                ",await,,,,,,1,,0,levers.in.4",
            ),
            (
                "A reset has no data.",
                "data must be empty: reset does not use it",
                "0,reset,,1,,,,,,,",
            ),
        )
    ),
    Spoiled(
        "An address must be aligned, and its lane is told.",
        (
            "busbox: day.csv:2: an address must be a multiple of 4, not 0x40000002; that "
            "byte is 0x40000000 with lanes 0100, its data in bits 23..16; a halfword has "
            "lanes 1100 and bits 31..16\n"
        ),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,read,0x40000002,,1111\n")},
    ),
    Spoiled(
        "An address must be there.",
        "busbox: day.csv:2: an address must be a number such as 12 or 0x0c, not ''\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,read,,,1111\n")},
    ),
    Spoiled(
        "Lanes are four binary digits.",
        (
            "busbox: day.csv:2: lanes must be four binary digits, SEL(3) first, such as "
            "0001, not '15'\n"
        ),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,read,0x40000000,,15\n")},
    ),
    Spoiled(
        "Lanes that a spreadsheet has cut are told.",
        (
            "busbox: day.csv:2: lanes must be four binary digits, SEL(3) first, such as "
            "0001, not '1'\n"
        ),
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n0,read,0x40000000,,1\n")},
    ),
    Spoiled(
        "A wait must be a number.",
        "busbox: day.csv:2: wait must be a number such as 12 or 0x0c, not 'soon'\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\nsoon,read,0x40000000,,1111\n")},
    ),
    Spoiled(
        "A wait must be there.",
        "busbox: day.csv:2: wait must be a number such as 12 or 0x0c, not ''\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n,read,0x40000000,,1111\n")},
    ),
    Spoiled(
        "A wait must be below 2^32.",
        "busbox: day.csv:2: wait must be at most 0xffffffff, not '4294967296'\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes\n4294967296,read,0x40000000,,1111\n")},
    ),
    Spoiled(
        "A program counter must be a number.",
        "busbox: day.csv:2: pc must be a number such as 12 or 0x0c, not 'main'\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={"day.csv": ("wait,op,address,data,lanes,pc\n0,write,0x40000000,1,1111,main\n")},
    ),
    Spoiled(
        "Every wrong row is told with its line.",
        (
            f"busbox: day.csv:3: op must be {OPS}, not 'halt'\n"
            "busbox: day.csv:5: lanes must be four binary digits, SEL(3) first, such as "
            "0001, not '2222'\n"
        ),
        edits=(('"day.steps"', '"day.csv"'),),
        files={
            "day.csv": (
                "wait,op,address,data,lanes\n"
                "0,write,0x40000000,1,1111\n"
                "0,halt,0,0,0\n"
                "\n"
                "0,write,0x40000000,1,2222\n"
            )
        },
    ),
    Spoiled(
        "A cell must not be too long.",
        "busbox: day.csv:2: a cell is too long\n",
        edits=(('"day.steps"', '"day.csv"'),),
        files={
            "day.csv": "wait,op,address,data,lanes\n0,write,0x40000000," + "1" * 200_000 + ",1111\n"
        },
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
