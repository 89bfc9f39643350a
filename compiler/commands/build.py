"""The command `build`: the files of targets, written only for a layout that is proved."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from bellcrank.commands.exit_statuses import fail, status
from bellcrank.commands.identifier_file import identifiers_beside, write_identifiers
from bellcrank.commands.reading_layout import compile_layout, prove_layout
from bellcrank.commands.reports import report, show_errors, show_status
from bellcrank.commands.writing import write_all
from bellcrank.compilation import Broken, Checked
from bellcrank.controller.breakings import BREAKINGS
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
from bellcrank.terminal.verdicts import verdict_text


def build(
    file: Path,
    json: bool,
    time_limit: float | None,
    scheduler: str | None,
    out: Path | None,
    target: tuple[str, ...],
    option: tuple[str, ...],
    pdf: bool,
    allow_unproved: bool,
    broken: bool,
    recheck: bool,
) -> int:
    """Run the command; returns the exit status."""
    try:
        targets = [load_target(name) for name in dict.fromkeys(target or default_targets())]
        given = split(option, [o for each in targets for o in each.options])
        if pdf and not any(page.pdf for each in targets for page in each.files):
            raise TargetError("--pdf is for targets of pages, such as --target sheets")
    except (TargetError, OptionError) as error:
        return fail(str(error))
    without = frozenset.intersection(*(each.without for each in targets))
    sound = compile_layout(file)
    if isinstance(sound, Broken):
        return show_errors(sound, _told(Written()), json=json)
    try:
        beside = identifiers_beside(file, targets, given)
    except TargetError as error:
        return fail(str(error))
    if has_errors(beside.diagnostics):
        return show_errors(beside.broken(sound), _told(Written()), json=json)
    c = prove_layout(
        sound,
        recheck=recheck,
        seconds=time_limit,
        scheduler=scheduler,
        controller=broken or "controller" not in without,
        broken=BREAKINGS if broken else (),
    )
    if c.outcome_alone in ("refuted", "undecided") and not allow_unproved:
        return _nothing_built(c, json=json)
    if c.controlled is not None and c.controlled.outcome != "proved":
        said = f"the controller is {c.controlled.outcome} and left out"
        say(f"{said}; `check --controller` tells why")
    if not json:
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
            if pdf:
                made |= pages(each, made)
            for name, content in made.items():
                if name in files:
                    raise TargetError(f"two targets write {name}; build them into two folders")
                files[name] = content
    except (TargetError, PdfError) as error:
        return fail(str(error))
    folder: Path = out or Path(file.name).with_suffix("")
    try:
        # First: what is given and not used does no harm, what is used and not kept would.
        kept = write_identifiers(file, beside.pinned, pinned)
        written = write_all(folder, files, c)
        written = replace(written, paths=(*kept, *written.paths))
    except NotWrittenError as error:
        return fail(str(error))
    if json:
        print_json(report(c), _told(written))
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


def _nothing_built(c: Checked, *, json: bool) -> int:
    if json:
        print_json(report(c), _told(Written()))
        return status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    show(verdict_text(c, width()))
    say("nothing is written: the layout is not proved (--allow-unproved writes all the same)")
    return status(c)
