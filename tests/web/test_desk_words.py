"""One table of sentences: every key a page uses is in it, every key in it is used, and English only stands there."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from chaffinch.paper.words import WORDS as ON_PAPER
from chaffinch.web import pages
from chaffinch.web.words.desk import WORDS as AT_THE_DESK
from chaffinch.web.words.desk import words
from chaffinch.web.words.plain import PLAIN, plain

WORDS = {**AT_THE_DESK, **ON_PAPER}
WEB = Path(pages.__file__).parents[1]
TEMPLATES = sorted((WEB / "templates").glob("*.html"))
ROOMS = sorted(
    path
    for room in (WEB, WEB / "pages", WEB.parent / "paper")
    for path in room.glob("*.py")
    if not path.name.startswith("words")
)
CALL = re.compile(r"""\b(?:w|words)\(\s*f?(['"])([^'"]*)\1(\s*[+~])?""")


def used() -> tuple[set[str], set[str]]:
    """Keys called as they stand or named anywhere, and beginnings of keys put together."""
    whole, begun = set(), set()
    for path in [*TEMPLATES, *ROOMS]:
        text = path.read_text(encoding="utf-8")
        for match in CALL.finditer(text):
            if match[3] or "{" in match[2]:
                begun.add(match[2].partition("{")[0])
            else:
                whole.add(match[2])
        whole |= {key for key in re.findall(r"""['"]([\w. -]+)['"]""", text) if key in WORDS}
    return whole, begun


def test_every_key_used_is_there() -> None:
    whole, begun = used()
    assert len(whole) > 150
    assert whole - set(WORDS) == set()
    for start in begun:
        assert any(key.startswith(start) for key in WORDS), start


def test_every_key_there_is_used() -> None:
    whole, begun = used()
    spare = {key for key in WORDS if key not in whole and not any(key.startswith(start) for start in begun if start)}
    assert spare == set()


def test_no_sentence_stands_in_a_template() -> None:
    """Between tags there are facts, signs and blanks; words come from the table."""
    for path in TEMPLATES:
        text = re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", " ", path.read_text(encoding="utf-8"), flags=re.DOTALL)
        plain = re.sub(r"<[^>]*>|&\w+;|[\w-]+=\"[^\"]*\"", " ", text)
        left = set(re.findall(r"[A-Za-z]{2,}", plain)) - {"to"}
        assert left == set(), (path.name, left)


def test_pages_that_stand_alone_have_their_sentences_in_a_table_too() -> None:
    """The ways in and out, and the heads of refusals."""
    texts = {path.name: path.read_text(encoding="utf-8") for path in (WEB / "doors.py", WEB / "problems.py")}
    used = {key for text in texts.values() for key in re.findall(r'plain\("([\w.]+)"', text)}
    begun = ("refused.", "trust.")
    assert used <= set(PLAIN)
    assert {key for key in PLAIN if key not in used and not key.startswith(begun)} == set()
    tree = ast.parse(texts["doors.py"])
    said_of = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    sentences = [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in said_of
    ]
    assert [text for text in sentences if len(text.split()) > 2] == []
    with pytest.raises(KeyError):
        plain("trust.compare", signed="no such fact")


def test_a_missing_key_or_fact_is_an_error() -> None:
    with pytest.raises(KeyError):
        words("no.such.key")
    with pytest.raises(KeyError):
        words("likely", low="1")
