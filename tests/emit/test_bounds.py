"""Templates that mean harm, or go wrong: each is stopped, in words, and soon."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

import bellcrank
from bellcrank.emit import render
from bellcrank.emit.document import document
from bellcrank.emit.render import render_target
from bellcrank.emit.target import TargetError, load_target
from bellcrank.proof.moving import Effort

LAYOUT = """
layout "Halt"
run edge WEST - A - >W - B - stop
"""


@pytest.fixture(scope="module")
def data() -> dict[str, Any]:
    return document(bellcrank.compile(LAYOUT, effort=Effort(seconds=0)))


def refused(folder: Path, template: str, data: dict[str, Any], path: str = "out.txt") -> str:
    """What is said of a template that must not be run to its end."""
    folder.mkdir(exist_ok=True)
    (folder / "target.toml").write_text(
        f"context = 1\n[[files]]\npath = '{path}'\ntemplate = 'it.jinja'\n"
    )
    (folder / "it.jinja").write_text(template)
    began = time.monotonic()
    with pytest.raises(TargetError) as caught:
        render_target(load_target(str(folder)), data)
    assert time.monotonic() - began < 10
    said = str(caught.value)
    assert "\n" not in said and "Traceback" not in said
    return said


@pytest.mark.parametrize("path", ["../out.txt", "/etc/out.txt", "a/../../out.txt", "a\\\\b"])
def test_a_path_out_of_the_folder_is_refused(
    tmp_path: Path, data: dict[str, Any], path: str
) -> None:
    assert "leads out of its folder" in refused(tmp_path / "t", "x", data, path)


@pytest.mark.parametrize("name", ["/etc/passwd", "../secret", "sub/../../secret"])
def test_a_template_includes_no_file_outside(
    tmp_path: Path, data: dict[str, Any], name: str
) -> None:
    (tmp_path / "secret").write_text("secret")
    for word in (f"{{% include '{name}' %}}", f"{{% extends '{name}' %}}",
                 f"{{% import '{name}' as m %}}"):  # fmt: skip
        assert f"has no template {name}" in refused(tmp_path / "t", word, data)


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
def test_an_attribute_of_python_is_out_of_reach(
    tmp_path: Path, data: dict[str, Any], template: str
) -> None:
    refused(tmp_path / "t", template, data)


@pytest.mark.parametrize(
    "template", ["{% import os %}", "{{ __import__('os') }}", "{{ open('x') }}"]
)
def test_nothing_of_python_is_imported(tmp_path: Path, data: dict[str, Any], template: str) -> None:
    assert "it.jinja:1" in refused(tmp_path / "t", template, data)


def test_loops_in_loops_are_stopped(
    tmp_path: Path, data: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(render, "SECONDS", 1.0)
    loop = "{% for i in range(99999) %}{% for j in range(99999) %}{% endfor %}{% endfor %}"
    assert "takes more than 1 s" in refused(tmp_path / "t", loop, data)
    assert "Range too big" in refused(
        tmp_path / "t", "{% for i in range(10**9) %}{% endfor %}", data
    )


def test_output_without_end_is_stopped(
    tmp_path: Path, data: dict[str, Any], monkeypatch: pytest.MonkeyPatch
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
    tmp_path: Path, data: dict[str, Any], template: str
) -> None:
    refused(tmp_path / "t", template, data)


def test_a_template_that_calls_itself_for_ever_is_stopped(
    tmp_path: Path, data: dict[str, Any]
) -> None:
    loop = "{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}"
    assert "goes round in a circle" in refused(tmp_path / "t", loop, data)


def test_a_mistake_is_told_with_template_line_and_reason(
    tmp_path: Path, data: dict[str, Any]
) -> None:
    assert refused(tmp_path / "t", "one\n\n{{ routes[99].name }}", data) == (
        f"the target {tmp_path / 't'} fails in it.jinja:3: list object has no element 99"
    )
    assert "it.jinja:2: " in refused(tmp_path / "t", "one\n{% if %}", data)
