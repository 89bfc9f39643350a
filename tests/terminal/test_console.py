"""The line that says what is being done."""

from __future__ import annotations

import io
import threading

import pytest
from rich.console import Console as RichConsole

from bellcrank.terminal import console


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> io.StringIO:
    """What is written to a terminal in place of standard error."""
    written = io.StringIO()

    def on_a_terminal(**_: object) -> RichConsole:
        return RichConsole(file=written, force_terminal=True, width=60)

    monkeypatch.setattr(console, "Console", on_a_terminal)
    return written


def test_progress_is_shown_without_a_thread(
    terminal: io.StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process with threads cannot be copied, and so the proof could not be spread."""
    monkeypatch.setattr(console, "SOON", 0.0)
    before = threading.active_count()
    with console.progress() as tell:
        assert tell is not None
        tell("looking for a story: 1,000 states")
        assert threading.active_count() == before
        assert "0:00 looking for a story: 1,000 states …" in terminal.getvalue()
    assert threading.active_count() == before


def test_what_is_done_at_once_shows_no_progress(terminal: io.StringIO) -> None:
    with console.progress() as tell:
        assert tell is not None
        tell("proving")
    assert "proving" not in terminal.getvalue()


def test_progress_that_comes_fast_is_not_all_shown(
    terminal: io.StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(console, "SOON", 0.0)
    monkeypatch.setattr(console, "SELDOM", 60.0)
    with console.progress() as tell:
        assert tell is not None
        for number in range(5):
            tell(f"{number} of 5")
    assert "0 of 5" in terminal.getvalue()
    assert "1 of 5" not in terminal.getvalue()


def test_nothing_is_told_where_there_is_no_terminal() -> None:
    with console.progress() as tell:
        assert tell is None
