"""The command `build`: the files of targets, written only for a layout that is proved."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from bellcrank.commands.broken_option import BrokenWish, kinds_asked, places_asked
from bellcrank.commands.exit_statuses import STOPPED, fail, status
from bellcrank.commands.identifier_file import identifiers_beside, write_identifiers
from bellcrank.commands.reading_layout import compile_layout, prove_layout
from bellcrank.commands.reports import report, show_errors, show_status
from bellcrank.commands.watching_files import Watched, again_and_again
from bellcrank.commands.writing import write_all
from bellcrank.compilation import Broken, Checked
from bellcrank.diagnostics import has_errors, printable
from bellcrank.document.build_document import build_document
from bellcrank.document.report_types import Built
from bellcrank.emit.description import TargetError, default_targets
from bellcrank.emit.extras import extras
from bellcrank.emit.finishing import pages, wrongly_written
from bellcrank.emit.options import OptionError, split
from bellcrank.emit.render import render_target, with_identifiers
from bellcrank.emit.target import Target, load_target
from bellcrank.file_sets.not_written import NotWrittenError
from bellcrank.file_sets.write_set import Written
from bellcrank.paper.pdf import PdfError
from bellcrank.terminal.console import print_diagnostics, print_json, say, show, width
from bellcrank.terminal.outcome_words import unmet_words
from bellcrank.terminal.verdicts import verdict_text


@dataclass(frozen=True, slots=True)
class BuildOptions:
    """What was asked for on the command line."""

    file: Path
    json: bool
    time_limit: float | None
    scheduler: str | None
    out: Path | None
    target: tuple[str, ...]
    option: tuple[str, ...]
    pdf: bool
    allow_unproved: bool
    broken: tuple[BrokenWish, ...]
    recheck: bool
    watch: bool

    @property
    def folder(self) -> Path:
        """Where files are written."""
        return self.out or Path(self.file.name).with_suffix("")


def build(**given: Any) -> int:
    """Run the command; returns the exit status."""
    asked = BuildOptions(**given)
    once = partial(_once, asked)
    if not asked.watch:
        return once(None)
    from bellcrank.file_sets.stamps import stamp_of
    from bellcrank.page.local_pages import Shown, shown_at_an_address

    shown = Shown(asked.folder / PAGE)
    with ExitStack() as until_it_ends:

        def again(watched: Watched) -> int:
            before = stamp_of(shown.page)
            ended = once(watched)
            if ended == STOPPED or "page" not in asked.target:
                return ended
            shown.was_built(before, OLDER)
            if not shown.address:
                until_it_ends.enter_context(shown_at_an_address(shown))
            say(f"the page reloads by itself at http://{shown.address}/")
            return ended

        return again_and_again(again, asked.file, quiet=asked.json)


PAGE = "page.html"
"""What the target `page` writes."""

OLDER = "This page is of an older text: of the one that was saved last none was written."


def _once(asked: BuildOptions, watched: Watched | None) -> int:
    """Build a layout as it is now; returns the exit status."""
    in_a_line = watched is not None
    try:
        targets = [load_target(name) for name in dict.fromkeys(asked.target or default_targets())]
        given = split(asked.option, [o for each in targets for o in each.options])
        if asked.pdf and not any(page.pdf for each in targets for page in each.files):
            raise TargetError("--pdf is for targets of pages, such as --target sheets")
    except (TargetError, OptionError) as error:
        return fail(str(error))
    without = frozenset.intersection(*(each.without for each in targets))
    sound = compile_layout(asked.file, watched)
    if isinstance(sound, Broken):
        return show_errors(sound, _told(Written()), json=asked.json, in_a_line=in_a_line)
    try:
        beside = identifiers_beside(asked.file, targets, given)
    except TargetError as error:
        return fail(str(error))
    if has_errors(beside.diagnostics):
        broken_beside = beside.broken(sound)
        return show_errors(broken_beside, _told(Written()), json=asked.json, in_a_line=in_a_line)
    c = prove_layout(
        sound,
        recheck=asked.recheck,
        seconds=asked.time_limit,
        scheduler=asked.scheduler,
        controller=bool(asked.broken) or "controller" not in without,
        broken=kinds_asked(asked.broken),
        broken_at=places_asked(asked.broken),
        watched=watched,
    )
    if c.status not in ("proved", "no routes") and not asked.allow_unproved:
        return _nothing_built(c, json=asked.json, in_a_line=in_a_line)
    if c.controlled is not None and not c.controlled.safe:
        said = f"the controller is {c.controlled.outcome} and left out"
        say(f"{said}; `check --controller` tells why")
    if not asked.json:
        print_diagnostics(c.diagnostics, c.program.texts)
    # What no target reads is not made.
    document = build_document(c, without)
    c = replace(c, controlled=None)  # what is written says what became of the locking
    files: dict[str, bytes] = {}
    pinned = beside.pinned
    try:
        for each in targets:
            pinned = with_identifiers(each, document, given, pinned)
            made = render_target(each, document, given, extras(c, document), pinned)
            _read_back(each, made, c)
            if asked.pdf:
                made |= pages(each, made)
            for name, content in made.items():
                if name in files:
                    raise TargetError(f"two targets write {name}; build them into two folders")
                files[name] = content
    except (TargetError, PdfError) as error:
        return fail(str(error))
    folder = asked.folder
    try:
        # First: what is given and not used does no harm, what is used and not kept would.
        kept = write_identifiers(asked.file, beside.pinned, pinned)
        written = write_all(folder, files, c)
        written = replace(written, paths=(*kept, *written.paths))
    except NotWrittenError as error:
        return fail(str(error))
    if asked.json:
        print_json(report(c), _told(written), in_a_line=in_a_line)
    else:
        for path in written.paths:
            print(printable(str(path)))
        show_status(c)
    return status(c)


def _told(written: Written) -> Built:
    """What is told as JSON of what became of files."""
    return Built(
        files=[str(path) for path in written.paths],
        removed=[str(path) for path in written.removed],
        left=[str(path) for path in written.left],
    )


def _read_back(target: Target, made: dict[str, bytes], c: Checked) -> None:
    """Play the commands that a target has written on a simulated bench.

    Raises TargetError if they do not do what was proved.
    """
    wrong = wrongly_written(target, made, c.layout, c.table, c.machine)
    if wrong:
        raise TargetError(
            f"what the target {target.name} writes does not do what was proved: {wrong[0]}"
            + (f"; and {len(wrong) - 1} more" if len(wrong) > 1 else "")
        )


def _nothing_built(c: Checked, *, json: bool, in_a_line: bool) -> int:
    if json:
        print_json(report(c), _told(Written()), in_a_line=in_a_line)
        return status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    show(verdict_text(c, width()))
    why = f"is safe, but {unmet_words(c)}" if c.outcome == "unmet" else "is not proved"
    say(f"nothing is written: the layout {why} (--allow-unproved writes all the same)")
    return status(c)
