"""Layouts as people build them: each sound one is proved, each mistake refuted by a story.

A folder holds one railway, `railway.crank`, whose locking is derived; in most folders
`notebook.crank` has its locking written by hand; every other file has a mistake in it. What is
expected of each stands in `expected.toml`. Those that take long are tried in a campaign;
`python tests/corpus/test_corpus.py` tries them all and prints a table; `--seconds 60` gives each
proof no longer, and names of layouts choose some.
"""

from __future__ import annotations

import argparse
import sys
import tomllib
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

import bellcrank
from bellcrank import Broken, Checked, Effort, Sound

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent)]

from cpu_time import cpu_seconds  # noqa: E402
from replayed import assert_replays  # noqa: E402

MOST_EVENTS = 20
"""A story with more is not short."""

QUICK = {
    "block-oval/block-not-looked-at.crank",
    "oval-passing-loop/railway.crank",
    "wye/notebook.crank",
    "balloon-loop/weighbridge.crank",
    "staff-worked-line/never-let-in.crank",
}
"""Those that are tried whenever tests are; the rest are in the campaign, except the long ones."""


LONG = {
    "terminus-slips/carriages-head-on.crank",
    "terminus-slips/notebook.crank",
    "big-terminus/railway.crank",
    "big-terminus/notebook.crank",
    "big-terminus/dock-head-on.crank",
    "hidden-storage/road-seven.crank",
    "hump-yard/notebook.crank",
    "hump-yard/wagons-from-both-ends.crank",
    "roundhouse/table-under-two.crank",
}
"""Those that take longest, up to minutes, and are tried only by the command."""


@dataclass(frozen=True, slots=True)
class Expected:
    """What is to come of one layout.

    violates: the property or expectation that fails. events: how many events its shortest
        story has; None if there is no story, as something can never happen.
    """

    routes: int
    verdict: str
    mistake: str = ""
    violates: str = ""
    events: int | None = None


@cache
def corpus() -> dict[str, Expected]:
    """Everything that is expected, by the name of the file below this folder."""
    rows = tomllib.loads((HERE / "expected.toml").read_text(encoding="utf-8"))
    return {name: Expected(**row) for name, row in rows.items()}


def checked(name: str, effort: Effort) -> Checked:
    """A layout of the corpus with its verdicts; it must be free of errors."""
    compiled = bellcrank.compile_file(HERE / name)
    assert not isinstance(compiled, Broken), compiled.diagnostics
    return bellcrank.prove(compiled, effort)


def assert_as_expected(name: str, found: Checked) -> None:
    """The verdict is the expected one, and what refutes it is told and can be replayed."""
    expected = corpus()[name]
    assert len(found.table.routes) == expected.routes
    assert not found.moving.disagreement, found.moving.disagreement
    assert found.outcome == expected.verdict, _open(found)
    if expected.verdict == "proved":
        assert not found.diagnostics
        return
    (result,) = (r for r in found.moving.results if r.name == expected.violates)
    assert result.outcome == "refuted", result
    for other in found.moving.results:
        if other.story is not None:
            assert_replays(found.machine, other.story)
    if expected.events is None:
        assert result.story is None
    else:
        assert result.story is not None
        assert len(result.story.steps) <= min(expected.events, MOST_EVENTS), result.story


def _open(found: Checked) -> list[tuple[str, str, tuple[str, ...]]]:
    return [
        (r.name, r.outcome, r.open[:3])
        for r in found.moving.results
        if r.outcome in ("refuted", "undecided")
    ]


def _tried(*verdicts: str) -> Iterator[object]:
    for name, expected in sorted(corpus().items()):
        if name not in LONG and expected.verdict in verdicts:
            yield pytest.param(name, marks=[] if name in QUICK else pytest.mark.campaign)


@pytest.mark.parametrize("name", list(_tried("proved", "refuted", "unmet")))
def test_a_layout_gets_its_verdict_and_the_second_solver_agrees(name: str) -> None:
    assert_as_expected(name, checked(name, Effort(recheck=True)))


@pytest.mark.parametrize("name", list(_tried("proved")))
def test_the_controller_of_a_sound_layout_is_proved(name: str) -> None:
    compiled = bellcrank.compile_file(HERE / name)
    assert isinstance(compiled, Sound)
    controlled = bellcrank.prove(compiled, controller=True).controlled
    assert controlled is not None
    assert controlled.outcome == "proved"
    told = {result.name for result in controlled.results}
    assert {"alarms", "lamps", "acted on"} <= told


def test_the_table_names_every_layout_and_no_other() -> None:
    files = {f.relative_to(HERE).as_posix() for f in HERE.glob("*/*.crank")}
    assert files == set(corpus())
    assert set(corpus()) >= QUICK | LONG


def test_there_are_over_sixty_layouts_of_all_sizes() -> None:
    assert len(corpus()) >= 60
    sizes = {expected.routes for expected in corpus().values()}
    assert min(sizes) <= 6 and max(sizes) >= 80


def test_beside_each_railway_that_is_sound_stands_one_with_a_mistake() -> None:
    folders = {name.split("/")[0] for name in corpus()}
    for folder in folders:
        beside = {n.split("/")[1]: e for n, e in corpus().items() if n.startswith(f"{folder}/")}
        assert beside["railway.crank"].verdict == "proved"
        assert any(e.verdict != "proved" for e in beside.values()), folder
    written = {name.split("/")[0] for name in corpus() if name.endswith("/notebook.crank")}
    assert 2 * len(written) >= len(folders)


@pytest.mark.parametrize("name", sorted(corpus()))
def test_the_first_line_of_a_layout_says_what_is_expected_of_it(name: str) -> None:
    first = (HERE / name).read_text(encoding="utf-8").split(maxsplit=2)[1]
    assert first == ("Sound." if corpus()[name].verdict == "proved" else "Mistake:")


def _rows(names: list[str], seconds: float | None) -> Iterator[str]:
    yield f"{'layout':<46}{'routes':>7}  {'verdict':<10}{'as expected':<12}{'CPU s':>7}"
    counts: Counter[str] = Counter()
    for name in names:
        began = cpu_seconds()
        found = checked(name, Effort(seconds, recheck=True))
        took = cpu_seconds() - began
        try:
            assert_as_expected(name, found)
        except AssertionError:
            as_expected = f"NO: {traceback.format_exc(limit=-1)[-300:]}"
        else:
            as_expected = "yes"
        routes = len(found.table.routes)
        counts.update((found.outcome, *(["not as expected"] if as_expected != "yes" else [])))
        # The second solver is asked every obligation, stated by its own names.
        counts["disagreements of the second solver"] += bool(found.moving.disagreement)
        yield f"{name:<46}{routes:>7}  {found.outcome:<10}{as_expected:<12}{took:>7.1f}"
    yield ", ".join(f"{count} {what}" for what, count in counts.items())


def _main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("names", nargs="*", default=sorted(corpus()))
    options.add_argument("--seconds", type=float)
    chosen = options.parse_args()
    for row in _rows(chosen.names, chosen.seconds):
        print(row, flush=True)


if __name__ == "__main__":
    _main()
