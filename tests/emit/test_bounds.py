"""Templates that mean harm, or go wrong: each is stopped, in words, and soon."""

from __future__ import annotations

from pathlib import Path

import pytest
from cpu_time import within
from sound_layouts import undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.emit import render
from bellcrank.emit.description import TargetError
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

LAYOUT = """
layout "Halt"
run edge WEST - A - >W - B - stop
"""


@pytest.fixture(scope="module")
def data() -> Document:
    return build_document(undecided(LAYOUT), SPARED)


def refused(folder: Path, template: str, data: Document, path: str = "out.txt") -> str:
    """What is said of a template that must not be run to its end."""
    folder.mkdir(exist_ok=True)
    (folder / "target.toml").write_text(
        f"context = 1\n[[files]]\npath = '{path}'\ntemplate = 'it.jinja'\n"
    )
    (folder / "it.jinja").write_text(template)
    with within(10), pytest.raises(TargetError) as caught:
        render_target(load_target(str(folder)), data)
    said = str(caught.value)
    assert "\n" not in said and "Traceback" not in said
    return said


@pytest.mark.parametrize(
    "path", ["../out.txt", "/etc/out.txt", "a/../../out.txt", "a\\\\b", "C:out.txt"]
)
def test_a_path_out_of_the_folder_is_refused(tmp_path: Path, data: Document, path: str) -> None:
    assert "leads out of its folder" in refused(tmp_path / "t", "x", data, path)


@pytest.mark.parametrize("name", ["/etc/passwd", "../secret", "sub/../../secret"])
@pytest.mark.usefixtures("in_this_process")
def test_a_template_includes_no_file_outside(tmp_path: Path, data: Document, name: str) -> None:
    (tmp_path / "secret").write_text("secret")
    for word in (f"{{% include '{name}' %}}", f"{{% extends '{name}' %}}",
                 f"{{% import '{name}' as m %}}"):  # fmt: skip
        assert f"has no template {name}" in refused(tmp_path / "t", word, data)


@pytest.mark.parametrize(
    ("link", "to", "template"),
    [
        ("it.jinja", "secret", None),
        ("part.jinja", "secret", "{{ status }}{% include 'part.jinja' %}"),
        ("parts", ".", "{{ status }}{% include 'parts/secret' %}"),
    ],
)
def test_no_link_leads_out_of_the_folder(
    tmp_path: Path, data: Document, link: str, to: str, template: str | None
) -> None:
    (tmp_path / "secret").write_text("hidden {{ status }}")
    (tmp_path / "t").mkdir()
    (tmp_path / "t" / link).symlink_to(tmp_path / to)
    if template is None:
        files = "[[files]]\npath = 'out.txt'\ntemplate = 'it.jinja'\n"
        (tmp_path / "t" / "target.toml").write_text(f"context = 1\n{files}")
        with pytest.raises(TargetError) as caught:
            render_target(load_target(str(tmp_path / "t")), data)
        said = str(caught.value)
    else:
        said = refused(tmp_path / "t", template, data)
    assert "a link leads from" in said and "hidden" not in said


def test_a_link_within_the_folder_and_to_the_folder_is_followed(
    tmp_path: Path, data: Document
) -> None:
    (tmp_path / "t").mkdir()
    (tmp_path / "t" / "target.toml").write_text(
        "context = 1\n[[files]]\npath = 'out.txt'\ntemplate = 'it.jinja'\n"
    )
    (tmp_path / "t" / "same.jinja").write_text("{{ status }}")
    (tmp_path / "t" / "it.jinja").symlink_to("same.jinja")
    (tmp_path / "mine").symlink_to(tmp_path / "t")
    made = render_target(load_target(str(tmp_path / "mine")), data)
    assert made == {"out.txt": data.status.encode()}


@pytest.mark.parametrize(
    "template",
    [
        "{{ ''.__class__.__mro__ }}",
        "{{ cycler.__init__.__globals__ }}",
        "{{ layout['__class__'] }}",
        "{{ layout | attr('__class__') }}",
        "{{ '{0.__class__.__mro__}'.format(1) }}",
        "{{ lipsum.__globals__['os'] }}",
        "{{ status.format.__globals__ }}",
    ],
)
@pytest.mark.usefixtures("in_this_process")
def test_an_attribute_of_python_is_out_of_reach(
    tmp_path: Path, data: Document, template: str
) -> None:
    refused(tmp_path / "t", template, data)


@pytest.mark.parametrize(
    "template", ["{% import os %}", "{{ __import__('os') }}", "{{ open('x') }}"]
)
def test_nothing_of_python_is_imported(tmp_path: Path, data: Document, template: str) -> None:
    assert "it.jinja:1" in refused(tmp_path / "t", template, data)


def test_loops_in_loops_are_stopped(
    tmp_path: Path, data: Document, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(render, "SECONDS", 1.0)
    loop = "{% for i in range(99999) %}{% for j in range(99999) %}{% endfor %}{% endfor %}"
    assert "takes more than 1 s" in refused(tmp_path / "t", loop, data)
    assert "Range too big" in refused(
        tmp_path / "t", "{% for i in range(10**9) %}{% endfor %}", data
    )


def test_a_pattern_that_takes_for_ever_is_stopped(
    tmp_path: Path, data: Document, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(render, "SECONDS_FOR_PATTERNS", 1.0)
    folder = tmp_path / "t"
    folder.mkdir()
    (folder / "target.toml").write_text(
        f"context = 1\n[options.a]\ntype = 'text'\npattern = '(1+)+x'\ndefault = '{'1' * 60}'\n"
        "[[files]]\npath = 'out.txt'\ntemplate = 'it.jinja'\n"
    )
    (folder / "it.jinja").write_text("{{ status }}")
    with within(10), pytest.raises(TargetError, match="takes more than 1 s"):
        render_target(load_target(str(folder)), data)


def test_targets_that_come_with_the_compiler_may_write_as_much_as_a_layout_takes(
    data: Document, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(render, "LONGEST_FILE", 100)
    made = render_target(load_target("json"), data)
    assert len(made["layout.json"]) > 1000


def test_nothing_is_left_to_chance(tmp_path: Path, data: Document) -> None:
    assert "lipsum" in refused(tmp_path / "t", "{{ lipsum() }}", data)
    assert "random" in refused(tmp_path / "t", "{{ [1, 2] | random }}", data)


def test_output_without_end_is_stopped(
    tmp_path: Path, data: Document, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(render, "LONGEST_FILE", 100_000)
    loop = "{% for i in range(99999) %}{{ status }}{% endfor %}"
    assert "writes more than 100,000 characters" in refused(tmp_path / "t", loop, data)


@pytest.mark.parametrize(
    "template",
    [
        "{{ 'x' * 10**9 }}",
        "{{ 10**9 * 'x' }}",
        "{{ [1] * 10**9 }}",
        "{{ 9 ** (9 ** 9) }}",
        "{{ 'x' | center(10**11) }}",
        "{{ '%99999999999d' | format(1) }}",
        "{{ '{:99999999999}'.format(1) }}",
        "{% set n = namespace(t='x') %}{% for i in range(60) %}{% set n.t = n.t~n.t %}{% endfor %}",
    ],
)
def test_what_grows_beyond_all_bounds_is_stopped(
    tmp_path: Path, data: Document, template: str
) -> None:
    refused(tmp_path / "t", template, data)


@pytest.mark.parametrize(
    "template",
    [
        "{{ 'x' | center(10**9) }}",
        "{{ 'x'.center(10**9) }}",
        "{{ 'x'.ljust(width) }}",
        "{{ 'x'.zfill(10**9) }}",
        "{{ ['x'] | batch(10**9, 0) | list }}",
        "{{ ['x'] | slice(10**9) | list }}",
        "{{ [['x']] | tojson(indent=10**9) }}",
    ],
)
def test_what_asks_for_too_much_is_stopped_before_it_is_made(
    tmp_path: Path, data: Document, template: str
) -> None:
    said = refused(tmp_path / "t", "{% set width = 10**9 %}" + template, data)
    assert "it asks for 1,000,000,000; a template may make 1,000,000" in said


@pytest.mark.parametrize(
    "template",
    [
        "{{ '%10000000d' % 1 }}",
        "{{ '%10000000d' | format(1) }}",
        "{{ '%.10000000f' % 1.5 }}",
        "{{ '%*d' % (10**7, 1) }}",
        "{{ '%(a)10000000d' % {'a': 1} }}",
        "{{ '%900000d%900000d' % (1, 1) }}",
        "{{ ['%10000000d'] | map('format', 1) | join }}",
        "{{ '{:>10000000}'.format(1) }}",
        "{{ '{:>{}}'.format(1, 10**7) }}",
        "{{ '{:>{w}}'.format(1, w='10000000') }}",
        "{{ '{a:>{w}}'.format_map({'a': 1, 'w': 10**7}) }}",
        "{% set f = '{:>10000000}'.format %}{{ f(1) }}",
        "{{ 'x'.encode().ljust(10**7) }}",
        "{{ (1).to_bytes(10**7, 'big') }}",
        "{{ ('x' * 10**6).replace('x', 'yyy') }}",
        "{{ ('x' * 10**6) | replace('x', 'yyy') }}",
        "{{ 'x'.replace('', 'y' * 10**6) }}",
        "{{ ('x' * 10**6).translate({120: 'yyy'}) }}",
        "{{ '%s%s%s' % (('x' * 10**6,) * 3) }}",
    ],
)
@pytest.mark.usefixtures("in_this_process")
def test_no_single_sign_makes_more_than_a_template_may(
    tmp_path: Path, data: Document, template: str
) -> None:
    said = refused(tmp_path / "t", "{{ status }}" + template, data)
    assert "a template may make 1,000,000" in said or "more than 1,000,000 characters" in said


def test_great_numbers_and_long_texts_are_no_widths(tmp_path: Path, data: Document) -> None:
    (tmp_path / "target.toml").write_text(
        "context = 1\n[[files]]\npath = 'out.txt'\ntemplate = 'it.jinja'\n"
    )
    (tmp_path / "it.jinja").write_text(
        "{{ '%d %5.1f%%' % (5000000, 1.5) }}|{{ '{:,} {:>3}'.format(5000000, 'x') }}"
        "|{{ '%6d' | format(5000000) }}|{{ ('x' * 10**6).replace('x', 'y') | length }}"
        "|{{ ('x' * 10**6) | upper | length }}|{{ 5000000 % 7 }}|{{ status }}"
    )
    made = render_target(load_target(str(tmp_path)), data)["out.txt"].decode()
    assert made.startswith("5000000   1.5%|5,000,000   x|5000000|1000000|1000000|5|")


def test_a_hostile_form_takes_no_longer_than_its_length(tmp_path: Path, data: Document) -> None:
    refused(tmp_path / "t", "{{ '%((' * 300000 % 1 }}", data)


def test_what_asks_for_little_is_made(tmp_path: Path, data: Document) -> None:
    (tmp_path / "target.toml").write_text(
        "context = 1\n[[files]]\npath = 'out.txt'\ntemplate = 'it.jinja'\n"
    )
    (tmp_path / "it.jinja").write_text(
        "{{ 'x' | center(3) }}|{{ 'x'.rjust(3) }}|{{ [1, 2, 3] | batch(2) | list }}"
        "|{{ [1] | tojson }}|{% macro m(called) %}{{ called }}{% endmacro %}{{ m(called='y') }}"
        "|{{ status }}"
    )
    made = render_target(load_target(str(tmp_path)), data)["out.txt"].decode()
    assert made.startswith(" x |  x|[[1, 2], [3]]|[1]|y|")


def test_a_template_may_refuse_in_its_own_words(tmp_path: Path, data: Document) -> None:
    template = "{% if sections is undefined %}{{ refuse('no yard\nhere') }}{% endif %}"
    assert refused(tmp_path / "t", template, data) == f"the target {tmp_path / 't'}: no yard here"


def test_a_template_that_calls_itself_for_ever_is_stopped(tmp_path: Path, data: Document) -> None:
    loop = "{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}"
    assert "goes round in a circle" in refused(tmp_path / "t", loop, data)


def test_a_mistake_is_told_with_template_line_and_reason(tmp_path: Path, data: Document) -> None:
    assert refused(tmp_path / "t", "one\n\n{{ routes[99].name }}", data) == (
        f"the target {tmp_path / 't'} fails in it.jinja:3: list object has no element 99"
    )
    assert "it.jinja:2: " in refused(tmp_path / "t", "one\n{% if %}", data)


@pytest.mark.parametrize(
    ("part", "template", "said"),
    [
        ("a\nb\n{{ nosuch }}", "x\n\n\n\n{% include 'part.jinja' %}", "part.jinja:3: 'nosuch'"),
        ("{% macro m() %}\n\n{{ 1 / 0 }}{% endmacro %}",
         "{% from 'part.jinja' import m %}\n\n\n\n{{ m() }}", "part.jinja:3: division by zero"),
    ],
)  # fmt: skip
def test_a_mistake_in_a_part_is_told_with_the_line_of_the_part(
    tmp_path: Path, data: Document, part: str, template: str, said: str
) -> None:
    (tmp_path / "t").mkdir()
    (tmp_path / "t" / "part.jinja").write_text(part)
    assert f"fails in {said}" in refused(tmp_path / "t", template, data)
