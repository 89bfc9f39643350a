"""The command `build`: the files of targets, written only for a layout that is proved."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from bellcrank.commands.proving import (
    add_effort_options,
    compile_layout,
    effort_of,
    fail,
    layout_command,
    report,
    show_status,
    status,
    status_word,
    write_all,
)
from bellcrank.compilation import Compilation
from bellcrank.diagnostics import printable
from bellcrank.document.document import document
from bellcrank.emit.extras import extras
from bellcrank.emit.finishing import pages, wrongly_written
from bellcrank.emit.options import OptionError, split
from bellcrank.emit.render import render_target
from bellcrank.emit.target import (
    Target,
    TargetError,
    built_in_targets,
    default_targets,
    load_target,
)
from bellcrank.paper.pdf import PdfError
from bellcrank.terminal.console import print_diagnostics, print_json, say, show, width
from bellcrank.terminal.verdicts import verdict_text


def add_build(commands: Any) -> None:
    """Add the command to those of the command line."""
    parser = layout_command(
        commands,
        "build",
        "prove the layout and write its files",
        "bellcrank build harbour-terminus.crank\n"
        "bellcrank build harbour-terminus.crank --out bench --target csv",
    )
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="where to write (default: named after FILE)"
    )
    parser.add_argument(
        "--target",
        action="append",
        metavar="NAME",
        help="a built-in target or the folder of your own; may be given again "
        f"(default: {' and '.join(default_targets())}; only where asked for: {_asked_for()})",
    )
    parser.add_argument(
        "--option",
        action="append",
        metavar="NAME=VALUE",
        help="what a target lets you state, such as `range=05.01.01.01.22.00`; "
        "see the target's lines in targets/README.md",
    )
    parser.add_argument(
        "--pdf",
        action="store_true",
        help="make pages, such as those of the target sheets, into PDF too; needs bellcrank[paper]",
    )
    parser.add_argument(
        "--allow-unproved",
        action="store_true",
        help="write the files even if the proof fails; each of them then says UNPROVED",
    )
    add_effort_options(parser)
    parser.set_defaults(run=build)


def _asked_for() -> str:
    """The built-in targets that are written only where they are asked for, each with
    what must then be stated."""
    told = []
    for name in built_in_targets():
        target = load_target(name)
        if not target.default:
            must = [f"--option {o.name}=…" for o in target.options if o.default is None]
            must += [n for n in target.needs if n != "hardware"]
            told.append(f"{name} (needs {' and '.join(must)})" if must else name)
    return ", ".join(told)


def build(options: argparse.Namespace) -> int:
    """Run the command; returns the exit status."""
    try:
        targets = [load_target(name) for name in dict.fromkeys(options.target or default_targets())]
        given = split(options.option or [], [o for target in targets for o in target.options])
        if options.pdf and not any(file.pdf for target in targets for file in target.files):
            raise TargetError("--pdf is for targets of pages, such as --target sheets")
    except (TargetError, OptionError) as error:
        return fail(str(error))
    c = compile_layout(options, effort_of(options))
    if c.verdict is None or c.layout is None or c.table is None:
        return _nothing_built(options, c)
    if not c.proved and not options.allow_unproved:
        return _nothing_built(options, c)
    if not options.json:
        print_diagnostics(c.diagnostics, c.program.texts)
    # What no target reads is not made.
    data = document(c, frozenset.intersection(*(target.without for target in targets)))
    files: dict[str, bytes] = {}
    try:
        for target in targets:
            made = render_target(target, data, given, extras(c, data))
            _read_back(target, made, c)
            if options.pdf:
                made |= pages(target, made)
            for name, content in made.items():
                if name in files:
                    raise TargetError(f"two targets write {name}; build them into two folders")
                files[name] = content
    except (TargetError, PdfError) as error:
        return fail(str(error))
    folder: Path = options.out or Path(options.file.name).with_suffix("")
    failure = write_all(folder, files)
    if failure:
        return fail(failure)
    written = [folder / name for name in files]
    if options.json:
        print_json(_built(c, written))
    else:
        for path in written:
            print(printable(str(path)))
        show_status(c)
    return status(c)


def _built(c: Compilation, written: list[Path]) -> dict[str, Any]:
    """What is told as JSON: the files that were written, and the verdict."""
    return {"status": status_word(c), "files": [str(path) for path in written], **report(c)}


def _read_back(target: Target, made: dict[str, bytes], c: Compilation) -> None:
    """Play the commands that a target has written on a simulated bench.

    Raises TargetError if they do not do what was proved.
    """
    assert c.layout is not None and c.table is not None and c.machine is not None
    wrong = wrongly_written(target, made, c.layout, c.table, c.machine)
    if wrong:
        raise TargetError(
            f"what the target {target.name} writes does not do what was proved: {wrong[0]}"
            + (f"; and {len(wrong) - 1} more" if len(wrong) > 1 else "")
        )


def _nothing_built(options: argparse.Namespace, c: Compilation) -> int:
    if options.json:
        print_json(_built(c, []))
        return status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    if c.verdict and c.layout and c.table:
        show(verdict_text(c.verdict, c.moving, c.layout, c.table, width()))
        say("nothing is written: the layout is not proved (--allow-unproved writes all the same)")
    return status(c)
