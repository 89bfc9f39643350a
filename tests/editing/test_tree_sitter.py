"""The grammar for tree-sitter against the grammar of the language: what the one takes the other
does, and what the one refuses all but seldom."""

from __future__ import annotations

import ctypes
import hashlib
import random
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from lark.exceptions import LarkError

from bellcrank.editing.colouring import keywords
from bellcrank.syntax.grammar_tables import layout_parser

tree_sitter = pytest.importorskip("tree_sitter")

ROOT = Path(__file__).parents[2]

OURS = ROOT / "grammar" / "editors" / "tree-sitter"

LAYOUTS = sorted([*ROOT.glob("examples/*.crank"), *ROOT.glob("tests/corpus/**/*.crank")])

WORDS = re.compile(r"\w+|[ \t]+|.")


@pytest.fixture(scope="module")
def language(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The parser that editors compile; skips where there is no C compiler."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None:
        pytest.skip("there is no C compiler on this machine")
    made = tmp_path_factory.mktemp("tree-sitter") / "crank.so"
    words = [compiler, "-shared", "-fPIC", f"-I{OURS / 'src'}", "-o", str(made)]
    subprocess.run([*words, str(OURS / "src" / "parser.c")], check=True)
    function = ctypes.CDLL(str(made)).tree_sitter_crank
    function.restype = ctypes.c_void_p
    capsule = ctypes.pythonapi.PyCapsule_New
    capsule.restype = ctypes.py_object
    capsule.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_void_p]
    return tree_sitter.Language(capsule(function(), b"tree_sitter.Language", None))


def takes(language: Any, text: str) -> bool:
    return not tree_sitter.Parser(language).parse(text.encode()).root_node.has_error


def is_of_the_language(text: str) -> bool:
    try:
        layout_parser().parse(text, start="file")
    except LarkError:
        return False
    return True


def test_the_parser_is_of_the_grammar_beside_it() -> None:
    """Whoever changes the language makes it anew by `tree-sitter generate src/grammar.json`."""
    grammar = (OURS / "src" / "grammar.json").read_bytes()
    with (OURS / "src" / "parser.c").open(encoding="utf-8") as parser:
        assert hashlib.sha256(grammar).hexdigest() in parser.readline()


def test_it_takes_every_layout_that_there_is(language: Any) -> None:
    assert len(LAYOUTS) > 100
    for path in LAYOUTS:
        text = path.read_text("utf-8")
        assert takes(language, text) == is_of_the_language(text), path.name


@pytest.mark.parametrize(
    "tries", [300, pytest.param(6_000, marks=pytest.mark.campaign)], ids=["a few", "many"]
)
def test_of_lines_spoilt_at_random_both_take_and_refuse_the_same_all_but_seldom(
    language: Any, tries: int
) -> None:
    lines = {line for path in LAYOUTS for line in path.read_text("utf-8").splitlines()}
    whole = sorted(line for line in lines if line.strip() and not set(line) & {"{", "}"})
    by_lot = random.Random(7)
    taken = refused = more = 0
    for _ in range(tries):
        words = WORDS.findall(by_lot.choice(whole))
        for _ in range(by_lot.randint(0, 2)):
            at = by_lot.randrange(len(words))
            other = by_lot.choice(WORDS.findall(by_lot.choice(whole)))
            words[at : at + by_lot.randint(0, 1)] = by_lot.choice([[], [other]])
            words = words or ["run"]
        text = "".join(words) + "\n"
        said, here = is_of_the_language(text), takes(language, text)
        assert here or not said, text
        taken, refused, more = taken + said, refused + (not said), more + (here and not said)
    assert taken > tries / 4 and refused > tries / 10
    # Where only a name can stand, it takes a keyword for one; the language at times does not.
    assert more <= refused / 100


def test_the_query_colours_words_by_what_they_are(language: Any) -> None:
    query = tree_sitter.Query(language, (OURS / "queries" / "highlights.scm").read_text("utf-8"))
    text = 'layout "Pin Mill"\nrun edge W - >S - P.toe  # home\ndrive P = K1.2 coil 200 ms\n'
    tree = tree_sitter.Parser(language).parse(text.encode())
    found = tree_sitter.QueryCursor(query).captures(tree.root_node)
    words = {name: {node.text.decode() for node in nodes} for name, nodes in found.items()}
    assert words["keyword"] == {"layout", "run", "edge", "drive", "coil"}
    assert words["label"] == {"S"} and words["property"] == {"toe"}
    assert words["string"] == {'"Pin Mill"'} and words["comment"] == {"# home"}
    assert words["number"] == {"2", "200 ms"} and words["type"] == {"ms"}


def test_the_query_knows_every_keyword(language: Any) -> None:
    """Every word that a layout has as a keyword is coloured as one."""
    query = tree_sitter.Query(language, (OURS / "queries" / "highlights.scm").read_text("utf-8"))
    seen: set[str] = set()
    for path in LAYOUTS:
        tree = tree_sitter.Parser(language).parse(path.read_bytes())
        found = tree_sitter.QueryCursor(query).captures(tree.root_node)
        seen |= {node.text.decode() for node in found.get("keyword", [])}
    assert seen <= set(keywords())
    assert len(seen) > 60 and {"stop", "derive", "shunt", "rails"} <= seen
