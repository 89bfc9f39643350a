"""Doing something again whenever a layout is saved: `check --watch`, `build --watch`.

Whether a file has changed is asked of the system a few times a second. A layout has few files, and
that works on every system and for files on another machine, where nobody tells of changes.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from rich.text import Text

from bellcrank.commands.exit_statuses import STOPPED
from bellcrank.compilation import Broken, Sound
from bellcrank.file_sets.stamps import Stamp, stamp_of
from bellcrank.syntax import tree as t
from bellcrank.terminal.console import say, show

LOOKS = 0.2
"""Seconds from one look at the files to the next while nothing is done."""

LOOKS_AT_WORK = 0.05
"""The same in the midst of a proof."""

STILL = 0.05
"""Seconds for which files must not change before they are read: saving takes several steps."""

MISSING = 2.0
"""Seconds in which a file that is being replaced should be there again."""


class ChangedError(Exception):
    """A file has changed, and what is being found out is of a text that is no more."""


@dataclass(slots=True)
class Watched:
    """The files of a layout, as they were before they were read last.

    file: the one that the layout begins with.
    """

    file: Path
    _stamps: dict[Path, Stamp] = field(default_factory=dict)
    _due: float = 0.0

    def compiled(self, compile: Callable[[], Broken | Sound]) -> Broken | Sound:
        """What a layout comes to, read when its files were at rest."""
        self._settle({self.file})
        while True:
            made = compile()
            files = {self.file, *_files(made, self.file.parent)}
            if files <= self._stamps.keys() and not self.changed():
                return made
            # One that was not looked at before may have changed since it was read.
            self._settle(files)

    def changed(self) -> bool:
        return any(stamp != stamp_of(path) for path, stamp in self._stamps.items())

    def telling(self, tell: Callable[[str], None] | None) -> Callable[[str], None]:
        """Something that is told how far the work is, and gives it up when a file has changed:
        it raises ChangedError."""

        def told(message: str) -> None:
            if time.monotonic() >= self._due:
                if self.changed():
                    raise ChangedError
                self._due = time.monotonic() + LOOKS_AT_WORK
            if tell is not None:
                tell(message)

        return told

    def wait(self) -> None:
        """Wait until a file has changed."""
        while not self.changed():
            time.sleep(LOOKS)

    def _settle(self, files: Iterable[Path]) -> None:
        """Note how files are, once they are still."""
        end = time.monotonic() + MISSING
        while True:
            self._stamps = {path: stamp_of(path) for path in files}
            time.sleep(STILL)
            there = None not in self._stamps.values() or time.monotonic() > end
            if there and not self.changed():
                return


def _files(made: Broken | Sound, folder: Path) -> set[Path]:
    """The files that a layout was read from, and those that it uses and lacks."""
    names = [*made.program.texts, *(use.path.text for use in made.program.of(t.UseLine))]
    return {folder / name for name in names}


def again_and_again(once: Callable[[Watched], int], file: Path, *, quiet: bool) -> int:
    """Do something, and again whenever a file of the layout has changed, until Ctrl-C: that is a
    KeyboardInterrupt, as everywhere.

    once: returns its exit status; raises ChangedError where it is to begin again.
    quiet: whether no heading is to stand above what it tells.
    """
    watched = Watched(file)
    while True:
        if not quiet:
            show(Text(f"{time.strftime('%H:%M:%S')}  {file.name}", style="bold"))
        try:
            if once(watched) == STOPPED:
                raise KeyboardInterrupt
        except ChangedError:
            continue
        say(f"waiting for a change of {file.name}; Ctrl-C ends")
        watched.wait()
