"""The words of the command `build`."""

from __future__ import annotations

from typing import Any

import click

from bellcrank.commands.broken_option import broken_option
from bellcrank.commands.declaring import (
    FOLDER,
    AlsoCalled,
    command,
    json_option,
    layout_file,
    out_option,
    recheck,
    scheduler,
    target_option,
    time_limit,
    watch,
)
from bellcrank.commands.exit_statuses import OF_A_PROOF
from bellcrank.emit.description import (
    built_in_folder,
    built_in_targets,
    default_targets,
    description,
)


def _asked_for() -> str:
    """The built-in targets that are written only where they are asked for, each with
    what must then be stated."""
    told = []
    for name in built_in_targets():
        # A plain reading of it will do: the tests hold those that are built in to their form.
        said: Any = description(name, built_in_folder(name))
        if not said.get("default", True):
            options = said.get("options", {})
            must = [f"--option {o}=…" for o in options if "default" not in options[o]]
            must += [n for n in said.get("needs", ()) if n != "hardware"]
            told.append(f"{name} (needs {' and '.join(must)})" if must else name)
    return ", ".join(told)


DECLARED = command(
    "build",
    examples=["harbour-terminus.crank", "harbour-terminus.crank --out bench --target csv"],
    statuses=OF_A_PROOF,
    params=[
        layout_file,
        json_option,
        time_limit,
        scheduler,
        out_option(FOLDER, "FOLDER", "where to write (default: named after FILE)"),
        target_option(
            "a built-in target or the folder of your own; may be given again "
            f"(default: {' and '.join(default_targets())}; only where asked for: {_asked_for()})",
            multiple=True,
        ),
        click.Option(
            ["--option"],
            multiple=True,
            metavar="NAME=VALUE",
            help="what a target lets you state, such as `range=05.01.01.01.22.00`; "
            "see the target's lines in targets/README.md",
        ),
        click.Option(
            ["--pdf"],
            is_flag=True,
            help="make pages, such as those of the target sheets, into PDF too; needs "
            "bellcrank[paper]",
        ),
        AlsoCalled(
            ["--allow-unproved"],
            also="--although-unproved",
            is_flag=True,
            help="write the files even if the proof fails; each of them then says UNPROVED",
        ),
        broken_option(
            "decide too what the railway notices of what is broken once, for the document, the "
            "page and the sheets"
        ),
        recheck,
        watch,
    ],
)
