"""What is done with the files of a user's own target: within bounds, like its templates."""

from __future__ import annotations

import json
import threading
import time
from pathlib import Path

import pytest
from rude import Rude
from sound_layouts import compiled, undecided

from bellcrank.commands.cli import main
from bellcrank.document.build_document import build_document
from bellcrank.emit import render
from bellcrank.emit.bounds import OutOfBoundsError, within_bounds
from bellcrank.emit.choosing import Choosing
from bellcrank.emit.description import TargetError
from bellcrank.emit.finishing import Reading, pages, wrongly_written
from bellcrank.emit.render import render_target
from bellcrank.emit.target import Target, load_target
from bellcrank.emit.work import FailedError

HALT = """
layout "Halt"
points P
run edge WEST - A - >H - P.toe
run P.straight - B - edge EAST
run P.diverging - <S - C - stop
decoder kind quad { outputs 4 }
decoder K quad at 21
drive P = K.1  coil 200 ms
signal H = K.2
signal S = K.3
"""


def target(folder: Path, template: str, reader: str = "json", file: str = "layout.json") -> Target:
    folder.mkdir(exist_ok=True)
    (folder / "target.toml").write_text(
        f"context = 1\nreads_back = '{reader}'\n[[files]]\n"
        f"path = '{file}'\ntemplate = 'it.jinja'\npdf = 'it.pdf'\n"
    )
    (folder / "it.jinja").write_text(template)
    return load_target(str(folder))


def wrong(of: Target, made: dict[str, bytes]) -> tuple[str, ...]:
    c = compiled(HALT)
    return wrongly_written(of, made, c.layout, c.table, c.machine)


def test_what_a_target_of_the_users_own_writes_is_read_back_as_that_of_a_built_in_one(
    tmp_path: Path,
) -> None:
    own = target(tmp_path / "t", "{{ document | json }}")
    made = render_target(own, build_document(undecided(HALT)))
    assert wrong(own, made) == ()
    spoilt = {"layout.json": made["layout.json"].replace(b'"green"', b'"red"')}
    assert any("P lies" in said or "P.1" in said or "shows" in said for said in wrong(own, spoilt))


@pytest.mark.parametrize("data", [b"[" * 1_000_000, b"9" * 1_000_000, b"\xff", b"{}"])
def test_what_cannot_be_read_back_is_told_in_a_sentence(tmp_path: Path, data: bytes) -> None:
    (said,) = wrong(target(tmp_path / "t", ""), {"layout.json": data})
    assert said.startswith("it is not of the form `json`")


def test_to_read_back_takes_no_more_time_and_memory_than_it_may(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(render, "MEMORY", 50_000_000)
    own = target(tmp_path / "t", "")
    many = json.dumps({"commands": [{}] * 1_000_000}).encode()
    with pytest.raises(TargetError, match="needs more memory"):
        wrong(own, {"layout.json": many})
    monkeypatch.setattr(render, "MEMORY", 2_000_000_000)
    monkeypatch.setattr(render, "SECONDS", 0.01)
    with pytest.raises(TargetError, match=r"takes more than 0\.01 s"):
        wrong(own, {"layout.json": many})


def pdf_of(own: Target, page: str) -> dict[str, bytes]:
    pytest.importorskip("weasyprint", exc_type=OSError)
    return pages(own, {"layout.json": page.encode()})


def test_a_page_of_the_users_own_becomes_a_pdf(tmp_path: Path) -> None:
    made = pdf_of(target(tmp_path / "t", ""), "<title>Halt</title><p>Halt")
    assert made["it.pdf"].startswith(b"%PDF")


def test_a_page_that_is_nested_too_deeply_is_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(TargetError) as caught:
        pdf_of(target(tmp_path / "t", ""), "<div>" * 2_000)
    assert "\n" not in str(caught.value)


def test_a_page_that_takes_for_ever_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(render, "SECONDS", 1.0)
    began = time.monotonic()
    with pytest.raises(TargetError, match=r"takes more than 1 s|more memory"):
        pdf_of(target(tmp_path / "t", ""), "<table>" + "<tr><td>x<td>y" * 50_000)
    assert time.monotonic() - began < 30


def test_work_is_done_while_threads_run() -> None:
    stop = threading.Event()
    threads = [threading.Thread(target=stop.wait) for _ in range(8)]
    for thread in threads:
        thread.start()
    try:
        assert within_bounds(Choosing("t", (), {}), 10, 100_000_000) == {}
    finally:
        stop.set()
        for thread in threads:
            thread.join()


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("much", "it makes more than 1,000 characters"),
        ("fails", "in its own words"),
        ("goes on", "it takes more than 1 s"),
        ("fills", "it needs more memory"),
        ("recurses", "it is nested too deeply"),
        ("exits", "it needs more memory or time than it may"),
    ],
)
def test_whatever_work_does_it_ends_in_a_sentence(how: str, said: str) -> None:
    began = time.monotonic()
    with pytest.raises(FailedError) as caught:
        within_bounds(Rude(how), 1 if how == "goes on" else 30, 200_000_000, longest=1_000)
    assert said in str(caught.value)
    assert isinstance(caught.value, OutOfBoundsError) == (how != "fails")
    assert time.monotonic() - began < 60


def test_what_work_prints_is_no_part_of_its_answer() -> None:
    assert within_bounds(Rude("prints"), 10, 200_000_000) == "quiet"


def test_reading_is_a_value_that_another_process_can_be_given() -> None:
    told = within_bounds(Reading("csv", {}), 10, 200_000_000)
    assert told.startswith("it is not of the form `csv`")


def test_what_a_template_says_cannot_reach_the_terminal_but_as_an_escape(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("halt.crank").write_text(HALT)
    target(Path("own"), "{{ refuse('\x1b[2J\u202e gone') }}")
    assert main(["build", "halt.crank", "--target", "own"]) == 2
    assert capsys.readouterr().err.endswith("the target own: \\x1b[2J\\u202e gone\n")
    strange = "own\n\x1b[2J"
    Path("own").rename(strange)
    assert main(["build", "halt.crank", "--target", strange]) == 2
    said = capsys.readouterr().err
    assert "\x1b" not in said and said.count("\n") == 1
