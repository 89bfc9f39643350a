"""Target folders: what a good one writes, and that a bad one does no harm.

Whatever is wrong with a target, TargetError says so in one plain sentence.
"""

from __future__ import annotations

import csv
import io
import json
import re
import tempfile
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sound_layouts import checked

import bellcrank
from bellcrank.commands.cli import main
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import VERSION, Document
from bellcrank.emit.description import TargetError, built_in_targets
from bellcrank.emit.extras import extras
from bellcrank.emit.filters import LINE, csv_row, json_text, pick
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

LAYOUT = """
layout "Reedham Halt" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
"""


WIRED = (
    LAYOUT
    + """
numbering from decoder 1
decoder kind quad { outputs 4 }
drive P = quad  coil 200 ms
signal W = quad
"""
)

GIVEN = {"range": "05.01.01.01.22.00"}
"""What the built-in targets must be told."""


@cache
def data() -> Document:
    return build_document(checked(LAYOUT))


@cache
def wired() -> Document:
    return build_document(checked(WIRED))


def built(compilation: bellcrank.Checked) -> dict[str, dict[str, bytes]]:
    """The files of every built-in target, by its name."""
    made = build_document(compilation)
    of_layout = extras(compilation, made)
    return {
        name: render_target(load_target(name), made, GIVEN, of_layout)
        for name in built_in_targets()
    }


def target_folder(folder: Path, template: str, *, path: str = "out.txt") -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "target.toml").write_text(
        f"context = {VERSION}\n[[files]]\npath = {json.dumps(path)}\ntemplate = 'it.jinja'\n"
    )
    (folder / "it.jinja").write_text(template, encoding="utf-8")
    return folder


def rendered(folder: Path, template: str) -> str:
    target = load_target(str(target_folder(folder, template)))
    return render_target(target, data())["out.txt"].decode("utf-8")


def refusal(folder: Path, template: str) -> str:
    """What TargetError says of a template, which must be one plain sentence."""
    with pytest.raises(TargetError) as caught:
        rendered(folder, template)
    return plain(str(caught.value))


def plain(sentence: str) -> str:
    assert sentence and "\n" not in sentence and "Traceback" not in sentence
    assert " at 0x" not in sentence
    return sentence


# ------------------------------------------------------------- the built-in ones


def test_the_built_in_targets_have_names_purposes_and_files() -> None:
    assert set(built_in_targets()) >= {"csv", "json"}
    for name in built_in_targets():
        target = load_target(name)
        assert target.name == name
        assert target.purpose
        assert target.files


def test_every_file_of_every_built_in_target_carries_the_stamp() -> None:
    for files in built(checked(WIRED)).values():
        for path, content in files.items():
            text = content.decode("utf-8")
            assert wired().status in text, path
            assert wired().source.sha256 in text, path
            assert wired().compiler.version in text, path
            assert wired().notice in text, path


def test_rendering_twice_gives_the_same_bytes() -> None:
    assert built(checked(WIRED)) == built(checked(WIRED))


def test_a_template_changes_nothing_in_the_document() -> None:
    before = json.dumps(wired().plain)
    made = extras(checked(WIRED), wired())
    for name in built_in_targets():
        render_target(load_target(name), wired(), GIVEN, made)
    assert json.dumps(wired().plain) == before


# ----------------------------------------------------------------- its README.md


def readme() -> str:
    return (resources.files("bellcrank.targets") / "README.md").read_text("utf-8")


def test_the_example_in_the_readme_builds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    files = re.findall(r"^`(card/\S+)`\n\n```\w+\n(.*?)^```$", readme(), flags=re.M | re.S)
    assert [name for name, _ in files] == ["card/target.toml", "card/card.txt.jinja"]
    monkeypatch.chdir(tmp_path)
    Path("card").mkdir()
    for name, text in files:
        Path(name).write_text(text, encoding="utf-8")
    Path("halt.crank").write_text(LAYOUT)
    assert main(["build", "halt.crank", "--target", "card"]) == 0
    assert {p.name for p in Path("halt").iterdir()} == {"card.txt", "bellcrank-build.json"}
    title, stamp, source, empty, *rest = Path("halt/card.txt").read_text("utf-8").split("\n")
    assert title == "Reedham Halt"
    assert stamp == f"proved, bellcrank {bellcrank.__version__}"
    assert re.fullmatch("source [0-9a-f]{64}", source)
    assert empty == ""
    assert rest[:4] == [
        "W to B",
        "    P straight",
        "    W shows proceed",
        "    not together with: W to C, S to WEST, D to WEST",
    ]
    assert str(Path("halt/card.txt")) in capsys.readouterr().out


def test_the_readme_lists_every_built_in_target_with_the_files_it_writes() -> None:
    table = readme().split("\n## A target of your own")[0]
    listed: dict[str, set[str]] = {}
    name = ""
    for row in re.findall(r"^\|(.*?)\| `(\S+?)` \|", table, flags=re.M):
        name = row[0].strip("` |") or name
        listed.setdefault(name, set()).add(row[1])
    assert listed == {
        name: {file.path for file in load_target(name).files} for name in built_in_targets()
    }


def test_the_readme_names_everything_that_a_template_sees() -> None:
    table = readme().split("### The document")[1]
    named = re.findall(r"^\| `(\w+)` \|", table, flags=re.M)
    assert named == list(data().plain)
    assert "`document`" in table


def test_the_readme_names_every_filter_and_the_context_in_force() -> None:
    filters = readme().split("| filter | makes |")[1]
    assert re.findall(r"^\| `(\w+)` \|", filters.split("\n\n")[0], flags=re.M) == [
        "compact",
        "csv",
        "json",
        "keyed",
        "pick",
        "status_words",
        "css_text",
    ]
    assert f"context = {VERSION}\n" in readme()
    assert f"written for; now {VERSION} |" in readme()


# ------------------------------------------------- parts that a target does without


@pytest.fixture
def unmade(monkeypatch: pytest.MonkeyPatch) -> None:
    """Test vectors cannot be made."""

    def made(*_: object) -> None:
        raise AssertionError("test vectors are made, and nobody reads them")

    monkeypatch.setattr("bellcrank.document.build_document.make_vectors", made)
    monkeypatch.setattr("bellcrank.document.build_document.make_input_vectors", made)


@pytest.fixture
def halt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("halt.crank").write_text(WIRED)


VECTORS = "{{ status }} {{ vectors.runs | length }} {{ document.vectors.cases | length }}"


@pytest.mark.usefixtures("halt", "unmade")
def test_nobody_waits_for_test_vectors_that_no_target_reads() -> None:
    names = [name for name in built_in_targets() if name != "json"]
    chosen = [word for name in names for word in ("--target", name)]
    assert main(["build", "halt.crank", *chosen, "--option", "range=05.01.01.01.22.00"]) == 0


@pytest.mark.usefixtures("halt", "unmade")
@pytest.mark.parametrize("name", ["csv", "mqtt", "packets"])
def test_nobody_waits_for_test_vectors_before_commands_are_sent(name: str) -> None:
    assert main(["send", "halt.crank", "W", "to", "B", "--target", name]) == 0


@pytest.mark.usefixtures("halt")
def test_a_target_that_says_nothing_sees_the_test_vectors_whatever_is_built_beside_it() -> None:
    target_folder(Path("own"), VECTORS)
    assert main(["build", "halt.crank", "--target", "csv", "--target", "own"]) == 0
    vectors = wired().plain["vectors"]
    told = f"proved {len(vectors['runs'])} {len(vectors['cases'])}"
    assert Path("halt/out.txt").read_text() == told


@pytest.mark.usefixtures("halt")
def test_a_line_that_reads_the_test_vectors_is_sent(capsys: pytest.CaptureFixture[str]) -> None:
    folder = target_folder(Path("own"), VECTORS)
    description = (folder / "target.toml").read_text()
    (folder / "target.toml").write_text(f"line = 'it.jinja'\n{description}")
    assert main(["send", "halt.crank", "W", "to", "B", "--target", "own"]) == 0
    vectors = wired().plain["vectors"]
    assert f"proved {len(vectors['runs'])} {len(vectors['cases'])}" in capsys.readouterr().out


@pytest.mark.parametrize("template", ["{{ vectors }}", "{{ document.vectors }}"])
def test_a_target_that_does_without_the_test_vectors_never_sees_them(
    tmp_path: Path, template: str
) -> None:
    """Though they are there, because they were made for another target."""
    folder = target_folder(tmp_path, template)
    description = (folder / "target.toml").read_text()
    (folder / "target.toml").write_text(f"without = ['vectors']\n{description}")
    assert "vectors" in data().plain
    with pytest.raises(TargetError, match=r"it.jinja:1: .*vectors"):
        render_target(load_target(str(folder)), data())


# --------------------------------------------------------------------- templates


def test_what_is_drawn_for_paper_is_drawn_from_the_whole_document(tmp_path: Path) -> None:
    rows = rendered(tmp_path, "{{ (document | control_rows) | length }}")
    assert int(rows) == len(data().routes) > 0
    assert "control_rows is a filter of `document`" in refusal(
        tmp_path, "{{ layout | control_rows }}"
    )


def test_a_template_sees_each_field_and_the_whole_document(tmp_path: Path) -> None:
    assert rendered(tmp_path, "{{ layout.title }} {{ status }}") == "Reedham Halt proved"
    assert json.loads(rendered(tmp_path, "{{ document | json }}")) == data().plain


def test_a_template_includes_and_imports_from_its_own_folder(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "head.jinja").write_text("[{{ layout.title }}]")
    (tmp_path / "macros.jinja").write_text("{% macro twice(x) %}{{ x }}{{ x }}{% endmacro %}")
    template = (
        '{% from "macros.jinja" import twice %}{% include "parts/head.jinja" %}{{ twice("a") }}'
    )
    assert rendered(tmp_path, template) == "[Reedham Halt]aa"


def test_files_may_go_into_folders_of_the_output(tmp_path: Path) -> None:
    folder = target_folder(tmp_path, "x", path="cards/left/one.txt")
    assert render_target(load_target(str(folder)), data()) == {"cards/left/one.txt": b"x"}


def test_text_is_written_as_it_is_in_utf_8(tmp_path: Path) -> None:
    assert rendered(tmp_path, "<Größe & “Länge”>\n") == "<Größe & “Länge”>\n"


def test_a_template_sees_nothing_of_another_file(tmp_path: Path) -> None:
    assert "fails in it.jinja" in refusal(tmp_path, "{{ environment }}")
    assert "fails in it.jinja" in refusal(tmp_path, "{{ options.size }}")


@pytest.mark.parametrize(
    "template",
    [
        "{{ ''.__class__ }}",
        "{{ ''.__class__.__mro__[1].__subclasses__() }}",
        "{{ ''['__class__']['__mro__'] }}",
        "{{ routes.__class__ }}",
        "{{ routes[0].__init__ }}",
        "{{ document.__class__.__base__ }}",
        "{{ (''|attr('__class__')) | string }}",
        "{{ layout.title.format.__globals__ }}",
        "{{ '{0.__class__}'.format('') }}",
        "{{ '{0.__class__.__init__}'.format_map({'0': ''}) }}",
        "{{ self.__init__.__globals__ }}",
        "{{ self._TemplateReference__context }}",
        "{{ cycler.__init__.__globals__ }}",
        "{{ joiner.__init__.__globals__ }}",
        "{{ namespace.__init__.__globals__ }}",
        "{{ lipsum.__globals__ }}",
        "{{ range.__self__ }}",
        "{% macro m() %}{% endmacro %}{{ m._func }}",
        "{% macro m() %}{% endmacro %}{{ m.__globals__ }}",
        "{{ routes.append('x') }}",
        "{{ routes.clear() }}",
        "{{ document.clear() }}",
        "{{ document.update({'status': 'proved'}) }}",
        "{{ document.pop('status') }}",
        "{{ layout.setdefault('x', 1) }}",
        "{{ routes.sort() }}",
        "{{ import('os') }}",
        "{{ open('it.jinja') }}",
        "{{ __import__('os') }}",
        "{{ status() }}",
        "{{ 'x' | nosuchfilter }}",
        "{{ routes.nosuchfield }}",
        "{{ routes[999].name }}",
        "{{ nosuchname }}",
        "{% do routes %}",
        "{% if %}",
        "{{ ",
        "{% for r in routes %}",
        "{% include 'nosuch.jinja' %}",
        "{% import 'nosuch.jinja' as x %}",
        "{% extends 'nosuch.jinja' %}",
    ],
)
@pytest.mark.usefixtures("in_this_process")
def test_what_a_template_may_not_do_is_refused_with_a_sentence(
    tmp_path: Path, template: str
) -> None:
    before = json.dumps(data().plain)
    said = refusal(tmp_path, template)
    assert "it.jinja" in said or "nosuch.jinja" in said
    assert json.dumps(data().plain) == before


@pytest.mark.parametrize(
    "template",
    [
        "{{ 1 / 0 }}",
        "{{ 1 + 'a' }}",
        "{{ 'a' < 1 }}",
        "{{ status | csv | int + 'x' }}",
        "{{ 5 | csv }}",
        "{{ status | pick(status) }}",
        "{{ range | json }}",
        "{{ range(100000000) | list | length }}",
        "{{ '%d' % 'x' }}",
        "{{ '{'.format() }}",
        "{{ '{nothing}'.format() }}",
        "{{ status.encode('nosuch') }}",
        "{{ routes | sort(attribute='conflicts') }}",
        "{{ '\\ud800' }}",
        "{% include 'it.jinja' %}",
        "{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}",
        "{% for a, b in routes %}{% endfor %}",
        "{{ [] | first }}",
        "{{ none | length }}",
        "{{ routes[status] }}",
        "{{ " + "(" * 300 + "1" + ")" * 300 + " }}",
        "{{ " + "-" * 5000 + "1 }}",
    ],
)
@pytest.mark.usefixtures("in_this_process")
def test_a_template_that_fails_in_any_way_is_reported_with_a_sentence(
    tmp_path: Path, template: str
) -> None:
    assert "it.jinja" in refusal(tmp_path, template)


def test_a_failing_template_is_named_with_its_line(tmp_path: Path) -> None:
    assert "fails in it.jinja:3:" in refusal(tmp_path, "one\ntwo\n{% if %}\n")


def test_an_error_of_syntax_in_an_included_template_names_that_template(tmp_path: Path) -> None:
    (tmp_path / "part.jinja").write_text("one\n{% if %}\n")
    assert "part.jinja:2" in refusal(tmp_path, "\n\n\n\n{% include 'part.jinja' %}")


def test_a_failure_never_names_a_place_in_memory(tmp_path: Path) -> None:
    sentence = refusal(tmp_path, "{{ status[document.items] }}")
    assert "built-in method items" in sentence and "0x" not in sentence


ATOMS = "status routes document layout r range 0 1 -1 2.5 '' 'a' [] none".split()
"""What a template can get at, and values of each type."""

FORMS = (
    *(f"({{0}} {operator} {{1}})" for operator in "+ - * / // % ~ < == in and or".split()),
    *(f"({{0}} | {name})" for name in "csv json list first length int join sort map".split()),
    *(f"{{0}}.{name}" for name in "name format items keys upper __class__ _x nosuch".split()),
    "({0} | pick({1}))",
    "{0}[{1}]",
    "{0}({1})",
    "[{0}, {1}]",
    "({0} if {1} else {0})",
)


@st.composite
def expressions(draw: st.DrawFn, depth: int = 3) -> str:
    if depth == 0 or draw(st.booleans()):
        return draw(st.sampled_from(ATOMS))
    form = draw(st.sampled_from(FORMS))
    return form.format(draw(expressions(depth - 1)), draw(expressions(depth - 1)))


@pytest.mark.parametrize("examples", [10, pytest.param(50, marks=pytest.mark.campaign)])
def test_any_expression_at_all_gives_text_or_a_sentence(examples: int) -> None:
    @settings(max_examples=examples, deadline=None)
    @given(expressions())
    def check(expression: str) -> None:
        template = "{% for r in routes %}{{ " + expression + " }}{% endfor %}"
        with tempfile.TemporaryDirectory() as folder:
            target = load_target(str(target_folder(Path(folder), template)))
            try:
                files = render_target(target, data())
            except TargetError as error:
                plain(str(error))
            else:
                assert all(isinstance(content, bytes) for content in files.values())

    check()


# ----------------------------------------------------- nothing outside the folder


@pytest.mark.parametrize(
    "name",
    ["../secret.txt", "parts/../../secret.txt", "./../secret.txt", "ABSOLUTE", "..\\\\secret"],
)
@pytest.mark.parametrize(
    "template",
    ["{{% include '{0}' %}}", "{{% import '{0}' as x %}}", "{{% extends '{0}' %}}"],
    ids=["include", "import", "extends"],
)
@pytest.mark.usefixtures("in_this_process")
def test_a_template_reads_no_file_outside_its_folder(
    tmp_path: Path, template: str, name: str
) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("hidden {{ status }}")
    folder = tmp_path / "target"
    folder.mkdir()
    (folder / "parts").mkdir()
    name = str(secret) if name == "ABSOLUTE" else name
    target = load_target(str(target_folder(folder, template.format(name))))
    with pytest.raises(TargetError) as caught:
        render_target(target, data())
    assert "secret" in plain(str(caught.value))
    assert "hidden" not in str(caught.value)


@pytest.mark.parametrize(
    "path",
    [
        "/tmp/x",
        "../x",
        "a/../../x",
        "a/..",
        "..",
        "..\\x",
        "a\\..\\..\\x",
        "C:\\x",
        "",
        ".",
        "x\0y",
        "a/",
    ],
)
@pytest.mark.parametrize("field", ["path", "template"])
def test_a_path_that_leads_out_of_its_folder_is_refused(
    tmp_path: Path, field: str, path: str
) -> None:
    files = {"path": "out.txt", "template": "it.jinja"} | {field: path}
    said = "\n".join(f"{key} = {json.dumps(value)}" for key, value in files.items())
    (tmp_path / "target.toml").write_text(f"context = {VERSION}\n[[files]]\n{said}\n")
    (tmp_path / "it.jinja").write_text("x")
    with pytest.raises(TargetError) as caught:
        load_target(str(tmp_path))
    plain(str(caught.value))


def test_two_files_of_a_target_cannot_have_one_path(tmp_path: Path) -> None:
    entry = "[[files]]\npath = 'a.txt'\ntemplate = 'it.jinja'\n"
    (tmp_path / "target.toml").write_text(f"context = {VERSION}\n{entry}{entry}")
    (tmp_path / "it.jinja").write_text("x")
    with pytest.raises(TargetError, match=r"a\.txt"):
        render_target(load_target(str(tmp_path)), data())


def test_two_targets_cannot_write_one_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    target_folder(tmp_path / "mine", "{{ document | json }}", path="layout.json")
    Path("halt.crank").write_text(LAYOUT)
    assert main(["build", "halt.crank", "--target", "json", "--target", "mine"]) == 2
    assert "layout.json" in plain(capsys.readouterr().err.rstrip())
    assert not Path("halt").exists()


def test_a_file_of_an_unproved_layout_must_say_so(tmp_path: Path) -> None:
    text = LAYOUT + "locking written {\n  every route needs its sections clear\n}\n"
    unproved = build_document(checked(text))
    assert unproved.status == "UNPROVED"
    silent = load_target(str(target_folder(tmp_path / "silent", "{{ layout.title }}")))
    with pytest.raises(TargetError, match="UNPROVED"):
        render_target(silent, unproved)
    honest = load_target(str(target_folder(tmp_path / "honest", "{{ status }}")))
    assert render_target(honest, unproved) == {"out.txt": b"UNPROVED"}


# ------------------------------------------------------------ faulty descriptions


def described(folder: Path, text: str | bytes) -> str:
    """What TargetError says of a target.toml."""
    content = text if isinstance(text, bytes) else text.encode("utf-8")
    (folder / "target.toml").write_bytes(content)
    (folder / "it.jinja").write_text("x")
    with pytest.raises(TargetError) as caught:
        load_target(str(folder))
    return plain(str(caught.value))


FILES = "[[files]]\npath = 'a.txt'\ntemplate = 'it.jinja'\n"


def test_a_folder_without_a_description_is_refused(tmp_path: Path) -> None:
    with pytest.raises(TargetError, match=r"has no target\.toml$"):
        load_target(str(tmp_path))


def test_a_name_that_is_no_target_and_no_folder_is_refused_with_the_names_there_are() -> None:
    with pytest.raises(TargetError) as caught:
        load_target("nosuch")
    assert plain(str(caught.value)) == (
        "there is no target `nosuch`: give a folder or one of " + ", ".join(built_in_targets())
    )


@pytest.mark.parametrize("name", ["", "../targets/csv/target.toml", "a\0b"])
def test_a_name_that_cannot_be_a_folder_is_refused(name: str) -> None:
    with pytest.raises(TargetError):
        load_target(name)


@pytest.mark.parametrize("context", ["2", "0", "'1'", "1.5", "[1]", "true"])
def test_another_version_of_the_context_is_refused(tmp_path: Path, context: str) -> None:
    said = described(tmp_path, f"context = {context}\n{FILES}")
    assert f"this compiler has context {VERSION}" in said


def test_a_description_without_a_context_is_refused_in_words(tmp_path: Path) -> None:
    said = described(tmp_path, FILES)
    assert "context" in said
    assert "None" not in said


@pytest.mark.parametrize(
    "files",
    [
        "",
        "files = []",
        "files = 'a.txt'",
        "files = ['a.txt']",
        "files = [1]",
        "files = [[]]",
        "[files]\npath = 'a.txt'\ntemplate = 'it.jinja'",
        "[[file]]\npath = 'a.txt'\ntemplate = 'it.jinja'",
        "[[files]]",
        "[[files]]\npath = 'a.txt'",
        "[[files]]\ntemplate = 'it.jinja'",
        "[[files]]\npath = 1\ntemplate = 'it.jinja'",
        "[[files]]\npath = 'a.txt'\ntemplate = ['it.jinja']",
    ],
)
def test_a_description_without_sound_files_is_refused(tmp_path: Path, files: str) -> None:
    assert "files" in described(tmp_path, f"context = {VERSION}\n{files}\n")


@pytest.mark.parametrize("text", ["context = ", "a = 1\na = 2", b"\xff\xfe", b"\x00", "= 1"])
def test_a_description_that_is_no_toml_is_refused(tmp_path: Path, text: str | bytes) -> None:
    assert "target.toml cannot be read" in described(tmp_path, text)


def test_a_target_whose_template_is_missing_is_refused(tmp_path: Path) -> None:
    folder = target_folder(tmp_path, "x")
    (folder / "it.jinja").unlink()
    with pytest.raises(TargetError, match=r"has no template it\.jinja$"):
        render_target(load_target(str(folder)), data())


def test_a_template_that_is_a_folder_is_refused(tmp_path: Path) -> None:
    folder = target_folder(tmp_path, "x")
    (folder / "it.jinja").unlink()
    (folder / "it.jinja").mkdir()
    with pytest.raises(TargetError, match=r"it\.jinja"):
        render_target(load_target(str(folder)), data())


def test_a_template_that_is_not_utf_8_is_refused(tmp_path: Path) -> None:
    folder = target_folder(tmp_path, "x")
    (folder / "it.jinja").write_bytes(b"caf\xe9")
    with pytest.raises(TargetError, match=r"it\.jinja"):
        render_target(load_target(str(folder)), data())


@pytest.mark.parametrize("template", ["{{ nosuchname }}", "{{ "])
def test_build_with_a_failing_target_exits_2_and_writes_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    template: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    target_folder(tmp_path / "mine", template)
    Path("halt.crank").write_text(LAYOUT)
    assert main(["build", "halt.crank", "--target", "json", "--target", "mine"]) == 2
    assert not Path("halt").exists()
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("bellcrank: the target mine ")


# ----------------------------------------------------------------------- filters


def test_the_csv_filter_makes_one_row_with_its_line_end() -> None:
    assert csv_row(["a", 1, None, ["b", "c"], ("d",), []]) == "a,1,,b; c,d,\r\n"


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=1))
def test_any_text_comes_back_from_a_csv_row(row: list[str]) -> None:
    """Read with the csv module as RFC 4180 has it."""
    text = csv_row(row)
    assert text.endswith("\r\n")
    assert list(csv.reader(io.StringIO(text, newline=""), strict=True)) == [row]


def test_picking_gives_null_for_names_that_a_mapping_lacks() -> None:
    assert pick(["a", "b", "c"], {"c": 1, "a": [2]}) == [[2], None, 1]


@given(st.text(st.characters(exclude_categories=["Cs"])))
def test_any_text_comes_back_from_json(text: str) -> None:
    assert json.loads(json_text({"it": text})) == {"it": text}


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner) | st.dictionaries(st.text('ab \u00e9"\n'), inner),
    max_leaves=40,
)


@given(JSON)
def test_any_value_comes_back_from_json_in_the_same_order(value: Any) -> None:
    back = json.loads(json_text(value))
    assert back == value
    assert json.dumps(back) == json.dumps(value)


@given(JSON)
def test_json_breaks_a_line_only_where_a_value_is_too_long_for_it(value: Any) -> None:
    text = json_text(value)
    for line in text.splitlines():
        scalar = line.strip().rstrip(",")
        assert len(line) <= LINE or not scalar.endswith(("]", "}"))
    flat = json.dumps(value, ensure_ascii=False)
    assert (text == flat) is ("\n" not in text)
    if len(flat) < LINE:
        assert text == flat


def test_short_values_of_a_long_one_stand_on_a_line_each() -> None:
    value = {"name": "long", "rows": [{"a": [n, n], "b": {}} for n in range(3)], "is": "x" * 100}
    assert json_text(value).splitlines() == [
        "{",
        ' "name": "long",',
        ' "rows": [{"a": [0, 0], "b": {}}, {"a": [1, 1], "b": {}}, {"a": [2, 2], "b": {}}],',
        f' "is": "{"x" * 100}"',
        "}",
    ]
