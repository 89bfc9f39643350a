"""What is done with the files that a target has made: they are read back, and made into PDF.

The files of a user's own target may be anything, so this too is done within bounds.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from bellcrank.emit.render import done
from bellcrank.emit.target import Target
from bellcrank.emit.work import FailedError
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.machine_model import Machine
from bellcrank.readback.bench_check import differences
from bellcrank.readback.readers import (
    Act,
    ByHand,
    Files,
    Key,
    Lists,
    NotReadError,
    Show,
    SwitchOff,
    SwitchOn,
    read,
)
from bellcrank.routes.route_model import RouteTable

_ACTS: Mapping[str, type[Act]] = {
    "on": SwitchOn,
    "off": SwitchOff,
    "show": Show,
    "by hand": ByHand,
}
"""How each sort of act is called on its way from the process that reads it."""


def wrongly_written(
    target: Target, made: Files, layout: Layout, table: RouteTable, machine: Machine
) -> tuple[str, ...]:
    """What the commands that a target has written would do otherwise than was proved, in
    sentences; nothing where all is well, or where they are not read back.

    Raises TargetError if to read them takes more time or memory than it may.
    """
    if target.reads_back is None:
        return ()
    if target.builtin:
        try:
            lists = read(target.reads_back, made)
        except NotReadError as error:
            return (str(error),)
    else:
        told = done(target, Reading(target.reads_back, made))
        if isinstance(told, str):
            return (told,)
        lists = _lists(told)
    return differences(lists, layout, table, machine)


def pages(target: Target, made: Files) -> dict[str, bytes]:
    """What a target has written once more as PDF, where it is made for that.

    Raises PdfError if there is nothing to make PDF with, and TargetError if a page of a
    user's own target cannot be made into one.
    """
    wanted = {file.pdf: file.path for file in target.files if file.pdf}
    if target.builtin or not wanted:
        from bellcrank.paper.pdf import pdf_from

        return {pdf: pdf_from(made[path], path) for pdf, path in wanted.items()}
    told = done(target, Paging({path: made[path] for path in wanted.values()}))
    return {pdf: base64.b64decode(told[path]) for pdf, path in wanted.items()}


@dataclass(frozen=True, slots=True)
class Reading:
    """The lists of commands in files."""

    reader: str
    files: Files

    def run(self) -> Any:
        """The lists as plain data, or a sentence if there are none to be read."""
        try:
            lists = read(self.reader, self.files)
        except NotReadError as error:
            return str(error)
        names = {kind: name for name, kind in _ACTS.items()}
        return [
            [key.what, key.route, [[[names[type(a)], asdict(a)] for a in acts] for acts in told]]
            for key, told in lists.items()
        ]


def _lists(told: Any) -> Lists:
    return {
        Key(what, route): [[_ACTS[name](**fields) for name, fields in acts] for acts in lists]
        for what, route, lists in told
    }


@dataclass(frozen=True, slots=True)
class Paging:
    """Pages of HTML, by name, to be made into PDF."""

    pages: Files

    def run(self) -> dict[str, str]:
        """Each PDF in base 64.

        Raises FailedError with a sentence if one cannot be made.
        """
        from bellcrank.paper.pdf import PdfError, pdf_from

        try:
            made = {name: pdf_from(page, name) for name, page in self.pages.items()}
        except PdfError as error:
            raise FailedError(str(error)) from None
        return {name: base64.b64encode(pdf).decode("ascii") for name, pdf in made.items()}
