"""Colours for editors without a server: every keyword of the grammar, and none besides."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import tomllib
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from pygments.token import Comment, Keyword, Name, Number, String, Token

from bellcrank.commands.listing import COMMANDS
from bellcrank.editing.colouring import keywords
from bellcrank.editing.highlighting import CrankLexer, files, textmate

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "grammar" / "editors" / "README.md").read_text("utf-8")
LAYOUTS = sorted((ROOT / "examples").glob("*.crank"))


@pytest.mark.parametrize("name", files())
def test_what_is_written_is_what_the_grammar_gives(name: str) -> None:
    assert (ROOT / "grammar" / "editors" / name).read_text("utf-8") == files()[name]


def test_the_grammar_has_these_keywords() -> None:
    text = (ROOT / "grammar" / "layout.lark").read_text("utf-8")
    quoted = re.findall(r'"([a-z]+)"', re.sub(r"//.*", "", text))
    assert keywords() == set(quoted)


def test_the_definition_for_kate_is_xml_and_names_all_keywords() -> None:
    tree = ElementTree.fromstring(files()["kate/crank.xml"])
    assert {item.text for item in tree.iter("item")} == keywords()


@pytest.mark.parametrize("path", LAYOUTS, ids=lambda p: p.stem)
def test_the_lexer_gives_the_text_back_and_knows_every_sign(path: Path) -> None:
    text = path.read_text("utf-8")
    found = list(CrankLexer(ensurenl=False, stripnl=False).get_tokens(text))
    assert "".join(value for _, value in found) == text
    assert [value for kind, value in found if kind is Token.Text and value.strip()] == []


def test_the_lexer_tells_words_apart() -> None:
    found = CrankLexer().get_tokens('run A - >H1 - P1.toe  # "x"\ndrive P1 = K1.2  coil 200 ms\n')
    said = {value: kind for kind, value in found if value.strip()}
    assert said["run"] is Keyword.Declaration
    assert said["coil"] is Keyword
    assert said["H1"] is Name.Label
    assert said["toe"] is Name.Attribute
    assert said["200 ms"] in Number
    assert said['# "x"'] in Comment
    assert next(iter(CrankLexer().get_tokens('"a # b"')))[0] in String


def test_the_textmate_grammar_marks_what_the_lexer_does() -> None:
    row = 'lamp MAIN = K1.2 red  # "x"'
    marked = []
    at = 0
    while at < len(row):
        found = [
            (match.start(), index, match, pattern)
            for index, pattern in enumerate(textmate()["patterns"])
            if (match := re.compile(pattern["match"]).search(row, at))
        ]
        if not found:
            break
        _, _, match, pattern = min(found, key=lambda each: each[:2])
        marked.append((match.group(), pattern.get("name", "")))
        at = match.end()
    assert marked == [
        ("lamp", "storage.type.crank"),
        ("=", "keyword.operator.crank"),
        ("K1.2", ""),
        ('# "x"', "comment.line.number-sign.crank"),
    ]


KINDS = {
    "comment.line.number-sign.crank": Comment,
    "string.quoted.double.crank": String,
    "constant.numeric.crank": Number,
    "storage.type.crank": Keyword.Declaration,
    "keyword.other.crank": Keyword,
    "entity.name.label.crank": Name.Label,
}


def test_vs_code_colours_every_example_as_the_lexer_does() -> None:
    """By the library with which it does so: the environment variable TEXTMATE names the folder
    where vscode-textmate and vscode-oniguruma are installed."""
    node, modules = shutil.which("node"), os.environ.get("TEXTMATE", str(ROOT / "node_modules"))
    if node is None or not (Path(modules) / "vscode-textmate").is_dir():
        pytest.skip("Node.js and vscode-textmate are not here")
    script = Path(__file__).with_name("textmate_scopes.cjs")
    grammar = ROOT / "grammar" / "editors" / "vscode" / "syntaxes" / "crank.tmLanguage.json"
    text = "\n".join(p.read_text("utf-8") for p in sorted((ROOT / "examples").glob("*.crank")))
    done = subprocess.run(
        [node, str(script), modules, str(grammar)],
        input=text, capture_output=True, check=True, encoding="utf-8",
    )  # fmt: skip
    by_editor = [
        KINDS.get(scope)
        for line in json.loads(done.stdout)
        for stretch, scope in line
        for sign in stretch
        if not sign.isspace()
    ]
    by_lexer = [
        next((k for k in KINDS.values() if kind in k), None)
        for kind, stretch in CrankLexer().get_tokens(text)
        for sign in stretch
        if not sign.isspace()
    ]
    assert by_editor == by_lexer
    assert set(by_lexer) == {*KINDS.values(), None}


def test_the_settings_on_the_page_can_be_read_and_start_a_command_that_there_is() -> None:
    blocks = dict(re.findall(r"```(json|toml|lua|elisp)\n(.*?)```", PAGE, flags=re.S))
    blocks["lua"] = "".join(re.findall(r"```lua\n(.*?)```", PAGE, flags=re.S))
    assert set(blocks) == {"json", "toml", "lua", "elisp"}
    assert json.loads(blocks["json"])["servers"]["crank"]["command"] == ["bellcrank", "editor"]
    helix = tomllib.loads("".join(re.findall(r"```toml\n(.*?)```", PAGE, flags=re.S)))
    assert helix["language-server"]["bellcrank"]["args"] == ["editor"]
    assert '"bellcrank", "editor"' in blocks["lua"] and '"bellcrank" "editor"' in blocks["elisp"]
    assert "editor" in COMMANDS


def test_the_extension_names_files_that_there_are() -> None:
    folder = ROOT / "grammar" / "editors" / "vscode"
    package = json.loads((folder / "package.json").read_text("utf-8"))
    contributes = package["contributes"]
    named = [package["main"], contributes["languages"][0]["configuration"]]
    named.append(contributes["grammars"][0]["path"])
    main = (folder / package["main"]).read_text("utf-8")
    named += [f"{name}.js" for name in re.findall(r'require\("(\./\w+)"\)', main)]
    for command in contributes["commands"]:
        assert f'registerCommand("{command["command"]}"' in main
    for name in named:
        assert (folder / name).is_file()
    assert contributes["grammars"][0]["scopeName"] == textmate()["scopeName"]
