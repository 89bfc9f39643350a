"""What targets let their users state, and what they need of a layout."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from sound_layouts import undecided

from bellcrank.commands.cli import main
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.emit.description import TargetError
from bellcrank.emit.options import OptionError, chosen, read_options, split
from bellcrank.emit.render import command_lines, command_topics, render_target
from bellcrank.emit.target import load_target

HALT = """\
layout "Halt"
points P
run edge WEST - A - >W - P.toe
run P.straight - B - stop
run P.diverging - C - stop
decoder kind quad { outputs 4 }
drive P = quad  coil 200 ms
signal W = quad
"""

NUMBERED = HALT + "numbering from decoder 1\n"

SIZE = {"type": "choice", "choices": ["small", "large"], "default": "small", "help": "how large"}


def halt(text: str = NUMBERED) -> Document:
    return build_document(undecided(text), SPARED)


def folder(path: Path, *, toml: str = "", template: str = "{{ status }}") -> Path:
    path.mkdir()
    files = "[[files]]\npath = 'out.txt'\ntemplate = 'out.txt.jinja'\n"
    (path / "target.toml").write_text(f"context = 1\n{toml}\n{files}")
    (path / "out.txt.jinja").write_text(template)
    return path


# -------------------------------------------------------------------- options


def test_an_option_is_what_was_given_or_else_its_default() -> None:
    options = read_options({"size": SIZE, "margin": {"type": "number"}, "of": {"type": "text"}})
    assert chosen(options, {"margin": "2.5", "of": "x=y"}) == {
        "size": "small",
        "margin": 2.5,
        "of": "x=y",
    }
    assert chosen(options, {"size": "large", "margin": "3", "of": ""})["margin"] == 3


@pytest.mark.parametrize(
    ("said", "given", "why"),
    [
        (SIZE, {"it": "lrge"}, "it is small or large, not `lrge`; did you mean `large`?"),
        ({"type": "number"}, {"it": "two"}, "it is a number, not `two`"),
        ({"type": "number"}, {"it": "1e99"}, "within bounds"),
        ({"type": "number"}, {"it": "nan"}, "within bounds"),
        ({"type": "text", "pattern": "[a-z]+", "help": "small letters"}, {"it": "B"},
         "it cannot be `B`: small letters"),
        ({"type": "text", "pattern": "[a-z]+", "default": "B"}, {}, "it cannot be `B`"),
        ({"type": "text"}, {"it": "\udc80"}, "it holds bytes that are not UTF-8"),
        ({"type": "text", "help": "a name"}, {}, "it needs `--option it=…`: a name"),
    ],
)  # fmt: skip
def test_a_value_that_is_not_possible_is_refused(
    said: dict[str, object], given: dict[str, str], why: str
) -> None:
    with pytest.raises(OptionError) as caught:
        chosen(read_options({"it": said}), given)
    assert why in str(caught.value)


@pytest.mark.parametrize(
    "said",
    [
        [],
        {"it": "text"},
        {"it": {}},
        {"it": {"type": "date"}},
        {"It": {"type": "text"}},
        {"it": {"type": "choice"}},
        {"it": {"type": "text", "choices": ["a"]}},
        {"it": {"type": "choice", "choices": [1]}},
        {"it": {"type": "text", "pattern": "("}},
        {"it": {"type": "text", "pattern": 3}},
        {"it": {"type": "text", "pattern": "a{99999999999999999999}"}},
        {"it": {"type": "text", "pattern": "(" * 2000 + ")" * 2000}},
        {"it": {"type": "text", "default": [1]}},
        {"it": {"type": "text", "default": 1}},
        {"it": {"type": "number", "default": True}},
        {"it": {"type": "number", "default": "1"}},
        {"it": {**SIZE, "default": "huge"}},
    ],
)
def test_an_option_that_is_not_soundly_described_is_refused(said: object) -> None:
    with pytest.raises(OptionError):
        read_options(said)


def test_words_on_the_command_line_name_options_that_some_target_has() -> None:
    options = read_options({"size": SIZE})
    assert split(["size=a=b"], options) == {"size": "a=b"}
    with pytest.raises(OptionError, match="not of the form NAME=VALUE"):
        split(["size"], options)
    with pytest.raises(OptionError, match="no target has the option `siz`: did you mean `size`"):
        split(["siz=1"], options)
    with pytest.raises(OptionError, match="these targets have none"):
        split(["size=1"], ())


def test_a_template_sees_the_options(tmp_path: Path) -> None:
    toml = "[options.size]\ntype = 'number'\ndefault = 3\n"
    target = load_target(
        str(folder(tmp_path / "t", toml=toml, template="{{ options.size + 1 }}{{ status }}"))
    )
    assert render_target(target, halt())["out.txt"].startswith(b"4")
    assert render_target(target, halt(), {"size": "9", "other": "x"})["out.txt"].startswith(b"10")


def test_build_says_what_is_wrong_with_an_option_and_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("halt.crank").write_text(NUMBERED)
    for words, said in (
        ([], "the target events: it needs `--option range=…`"),
        (["--option", "range=5"], "range cannot be `5`"),
        (["--option", "rnge=5"], "did you mean `range`?"),
        (["--option", "range"], "not of the form NAME=VALUE"),
    ):
        assert main(["build", "halt.crank", "--target", "events", *words]) == 2
        assert said in capsys.readouterr().err
    assert not Path("halt").exists()
    right = ["--option", "range=05.01.01.01.22.00"]
    assert main(["build", "halt.crank", "--target", "events", *right]) == 0


# ---------------------------------------------------------------------- needs


def test_a_layout_that_lacks_what_a_target_needs_is_told_so() -> None:
    target = load_target("packets")
    assert render_target(target, halt())
    with pytest.raises(TargetError, match="numbering from decoder 0` or `1`"):
        render_target(target, halt(HALT))
    bare = HALT.split("decoder kind")[0]
    with pytest.raises(TargetError, match="decoders and what is wired to them"):
        render_target(target, halt(bare))


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        ("needs = 'numbering'", "needs is a list of"),
        ("needs = ['packets']", "needs is a list of"),
        ("needs = [['numbering']]", "needs is a list of"),
        ("without = 'vectors'", "without is a list of controller, vectors"),
        ("without = ['machine']", "without is a list of controller, vectors"),
        ("without = [['vectors']]", "without is a list of controller, vectors"),
        ("reads_back = ['csv']", "reads_back names a form of commands"),
        ("optons = 5", "has no field `optons`: did you mean `options`"),
        ("reads_back = 'bytes'", "reads_back names a form of commands"),
        ("line = 7", "line names no template in its folder"),
        ("identifiers = 'range'", "identifiers names an option with a pattern"),
        ("topic = '../x'", "topic names no template in its folder"),
        ("options = 5", "options are tables"),
    ],
)
def test_a_description_with_unsound_fields_is_refused(tmp_path: Path, toml: str, said: str) -> None:
    with pytest.raises(TargetError, match=said):
        load_target(str(folder(tmp_path / "t", toml=toml)))


# ----------------------------------------------------------- a text a command


def test_targets_have_a_text_for_each_command() -> None:
    data = halt()
    commands = [c for c in data.commands if c.number is not None][:3]
    assert command_lines(load_target("packets"), data, commands) == [
        "".join(f"{lamp.packet}\n" for lamp in c.puts_out) + f"{c.packet.on}\n"
        for c in commands
        if c.packet
    ]
    assert command_topics(load_target("mqtt"), data, commands, {"prefix": "halt"})[0] == (
        f"halt/{commands[0].device}/{commands[0].name}"
    )
    lines = command_lines(load_target("events"), data, commands, {"range": "05.01.01.01.22.00"})
    assert all(line.startswith("05.01.01.01.22.00.00.0") for line in lines)
    with pytest.raises(TargetError, match="has no topic for one command"):
        command_topics(load_target("packets"), data, commands)
    with pytest.raises(TargetError, match="has no text for one command"):
        command_lines(load_target("json"), data, commands)


@pytest.mark.parametrize("prefix", ["a+b", "a#", "", "/a", "$SYS", "a\0", "a\n", "\x1b", "a\x85"])
def test_a_topic_keeps_to_what_a_broker_takes(prefix: str) -> None:
    """MQTT 3.1.1, section 4.7: no wildcards and no NUL in a topic name; names that begin
    with $ belong to the broker."""
    with pytest.raises(TargetError, match="prefix cannot be"):
        command_topics(load_target("mqtt"), halt(), [], {"prefix": prefix})


@pytest.mark.parametrize(
    ("template", "why"),
    [
        ("  ", "is empty"),
        ("yard/+", "holds a + or #"),
        ("yard/#", "holds a + or #"),
        ("yard\nyard", "another control character"),
        ("{{ 'x' * 65536 }}", "longer than 65,535 bytes"),
        ("{{ 'é' * 32768 }}", "longer than 65,535 bytes"),
    ],
)
def test_a_topic_of_any_target_is_one_that_a_broker_takes(
    tmp_path: Path, template: str, why: str
) -> None:
    """MQTT 3.1.1, sections 4.7 and 1.5.3."""
    path = folder(tmp_path / "t", toml="topic = 'topic.jinja'\n")
    (path / "topic.jinja").write_text(template, encoding="utf-8")
    data = halt()
    with pytest.raises(TargetError, match=re.escape(why)):
        command_topics(load_target(str(path)), data, data.commands[:1])


def test_help_tells_which_targets_are_only_written_where_asked_for(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["build", "--help"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "events (needs --option range=…)" in told
    assert "packets (needs numbering)" in told


# ----------------------------------------------------------------- escape in HTML


def test_a_template_of_html_escapes_what_it_is_given(tmp_path: Path) -> None:
    path = folder(tmp_path / "t")
    (path / "target.toml").write_text(
        "context = 1\n[[files]]\npath = 'a.html'\ntemplate = 'a.html.jinja'\n"
        "[[files]]\npath = 'a.txt'\ntemplate = 'a.txt.jinja'\n"
    )
    for name in ("a.html.jinja", "a.txt.jinja"):
        (path / name).write_text("{{ layout.title }} {{ status }}")
    data = halt(NUMBERED.replace('"Halt"', '"<b> & Halt"'))
    made = render_target(load_target(str(path)), data)
    assert made["a.html"].startswith(b"&lt;b&gt; &amp; Halt ")
    assert made["a.txt"].startswith(b"<b> & Halt ")
