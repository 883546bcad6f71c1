"""Rules of attachments and of files beside the bench: each mistake is told in one message."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

PAGE = "'A stroke was silent.\\n\\nWhat to do\\n----------\\nStrike for longer.\\n'"
GONG = '[attach.gong]\nkind = "gong.py:Gong"\npin = "levers.out.0"\n'
BOTH = GONG + '[attach.bell]\nkind = "gong.py:Bell"\npin = "levers.out.1"\n'
BELL = f"\n\nclass Bell(Gong):\n    rules = {{'bell-silent': {PAGE}}}\n"
RULE = '''\
def bell_silent(facts):
    """A stroke was silent.

    What to do
    ----------
    Strike for longer.
    """
    yield from ()
'''


def gong(
    says: str, told: str, rules: str, tables: str = GONG, more: str = "", at: str = "53"
) -> Spoiled:
    """Return a bench with an attachment from a file, whose class declares ``rules``."""
    text = (
        "from busbox.board.attachment import Decoder, LineReport\n\n\n"
        f"class Gong(Decoder):\n    rules = {rules}\n\n"
        f"    def decode(self, wave):\n        return LineReport()\n{more}"
    )
    edit = ("[[reset]]", f"{tables}\n[[reset]]")
    return Spoiled(says, f"busbox: bench.toml:{at}: {told}\n", (edit,), {"gong.py": text})


def rule(says: str, told: str, given: str, text: str = RULE, tables: str = "") -> Spoiled:
    """Return a bench that names rules, in line 4."""
    edits = [("hang_after = 1000\n", f"hang_after = 1000\nrules = {given}\n")]
    if tables:
        edits.append(("[[reset]]", f"{tables}\n[[reset]]"))
    return Spoiled(says, f"busbox: bench.toml:{told}\n", tuple(edits), {"bells.py": text})


CASES: tuple[Spoiled, ...] = (
    gong(
        "A kind's rules are a mapping.",
        "attach.gong.kind: 'gong.py:Gong': rules must be a mapping from id to page, "
        "not ['bell-silent']",
        "['bell-silent']",
    ),
    gong(
        "The id of a kind's rule is words joined by dashes.",
        "attach.gong.kind: 'gong.py:Gong': the id of a rule must be words of lower-case letters and "
        "digits, joined by '-', such as bell-silent, not 'Bell_silent'",
        f"{{'Bell_silent': {PAGE}}}",
    ),
    gong(
        "The page of a kind's rule is a text.",
        "attach.gong.kind: 'gong.py:Gong': the page of rule bell-silent must be a string, not None",
        "{'bell-silent': None}",
    ),
    gong(
        "The page of a kind's rule is not empty.",
        "attach.gong.kind: 'gong.py:Gong': rule bell-silent must have a page: what is wrong, why "
        "it matters, what to do",
        "{'bell-silent': ''}",
    ),
    gong(
        "The page of a kind's rule begins with a sentence.",
        "attach.gong.kind: 'gong.py:Gong': the page of rule bell-silent must begin with a "
        "sentence that ends with '.'",
        "{'bell-silent': 'Silent'}",
    ),
    gong(
        "The page of a kind's rule says what to do.",
        "attach.gong.kind: 'gong.py:Gong': the page of rule bell-silent must have a section "
        "'What to do'",
        "{'bell-silent': 'It was silent.'}",
    ),
    gong(
        "A kind's rule has not the id of one of Busbox.",
        "attach.gong.kind: 'gong.py:Gong': there is a rule byte-lost already; choose another id",
        f"{{'byte-lost': {PAGE}}}",
    ),
    gong(
        "Two kinds do not bring one id with two pages.",
        ("attach.bell.kind: it brings the rule bell-silent, as attach.gong already does"),
        "{'bell-silent': 'Silent.\\n\\nWhat to do\\n----------\\nStrike.\\n'}",
        BOTH,
        BELL,
        at="56",
    ),
    rule(
        "Rules are a list.",
        "4: rules: must be a list of strings such as ['bell.py:bell_silent'], "
        "not 'bells.py:bell_silent'",
        '"bells.py:bell_silent"',
    ),
    rule(
        "Each rule is a text.",
        "4: rules.0: 3 must be a function that yields sightings, not 3",
        "[3]",
    ),
    rule(
        "A rule's file must be there.",
        "4: rules.0: there is no file 'bell.py'; did you mean 'bells.py'?",
        '["bell.py:bell_silent"]',
    ),
    rule(
        "A rule must be in its file.",
        "4: rules.0: there is no function 'bell_silnt' in bells.py; did you mean 'bell_silent'?",
        '["bells.py:bell_silnt"]',
    ),
    rule(
        "A rule's file must load.",
        "4: rules.0: bells.py:1: does not load: ModuleNotFoundError: No module named "
        "'no_such_bell'",
        '["bells.py:bell_silent"]',
        "import no_such_bell\n",
    ),
    rule(
        "A rule is named with its function.",
        "4: rules.0: must name the function too, such as 'bells.py:bell_silent', not 'bells.py'",
        '["bells.py"]',
    ),
    rule(
        "A rule is a function.",
        "4: rules.0: bells.py:HEAD must be a function that yields sightings, not 3",
        '["bells.py:HEAD"]',
        "HEAD = 3\n",
    ),
    rule(
        "A rule's page says what to do.",
        "4: rules.0: the page of rule bell-silent must have a section 'What to do'",
        '["bells.py:bell_silent"]',
        RULE.replace("    What to do\n    ----------\n", ""),
    ),
    rule(
        "A rule in a file has not the id of one of Busbox.",
        ("4: rules.0: a rule framing already exists; choose another id"),
        '["bells.py:framing"]',
        RULE.replace("bell_silent", "framing"),
    ),
    rule(
        "A rule of Busbox need not be named.",
        ("4: rules.0: a rule framing already exists; choose another id"),
        '["framing"]',
    ),
    rule(
        "A rule is named once.",
        ("4: rules.1: a rule bell-silent already exists; choose another id"),
        '["bells.py:bell_silent", "bells.py:bell_silent"]',
    ),
    rule(
        "An expectation names the nearest rule, those of the bench among them.",
        "54: expect.0.findings.rule: must be a rule, not 'bell-silnt'; did you mean 'bell-silent'?",
        '["bells.py:bell_silent"]',
        tables='[[expect]]\nfindings = { rule = "bell-silnt", exactly = 1 }\n',
    ),
    rule(
        "An expectation about a rule of a wrong list is not told besides.",
        "4: rules.0: there is no function 'bell_silnt' in bells.py; did you mean 'bell_silent'?",
        '["bells.py:bell_silnt"]',
        tables='[[expect]]\nfindings = { rule = "bell-silent", exactly = 1 }\n',
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=lambda spoiled: spoiled.says)
def test_every_wrong_rule_is_told(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
