"""Everything known about a layout as plain data: what targets are given.

The same data, written out as JSON, is the document that control software
reads; its schema is targets/json/layout.schema.json. VERSION is raised when a
field changes its meaning or goes away.

A mapping in a template has methods called `values`, `items` and so on: no field
may have such a name.
"""

from __future__ import annotations

from collections.abc import Container

from bellcrank.compilation import Checked
from bellcrank.document.command_data import command_data, states_data, timetable_data
from bellcrank.document.data import Data
from bellcrank.document.layout_data import hardware_data, layout_data
from bellcrank.document.machine_data import machine_data
from bellcrank.document.route_data import conflict_data, locking_data, route_data
from bellcrank.document.vector_data import vectors_data
from bellcrank.document.verdict_data import moving_data, verdict_data
from bellcrank.rehearsal.vectors import make_vectors
from bellcrank.version import NOTICE, __version__

VERSION = 1

SPARED = ("vectors",)
"""Parts that take long to make, and are not made for targets that do without them."""


def document(c: Checked, without: Container[str] = ()) -> Data:
    """The whole document, except parts of SPARED that nobody is going to read."""
    data: Data = {
        "format": {"name": "bellcrank-layout", "version": VERSION},
        "notice": NOTICE,
        "compiler": {"name": "bellcrank", "version": __version__},
        "source": {"files": list(c.program.texts), "sha256": c.source_hash},
        "status": "proved" if c.proved else "UNPROVED",
        "verdict": verdict_data(c.standing),
        "moving": moving_data(c.moving),
        "layout": layout_data(c.layout),
        "hardware": hardware_data(c.layout),
        "locking": locking_data(c.locking),
        "routes": [route_data(r, c.table) for r in c.table.routes.values()],
        "conflicts": [
            conflict_data(first, second, c.table, c.layout) for first, second in c.table.conflicts
        ],
        "states": states_data(c.layout),
        "commands": [command_data(command, c.layout) for command in c.commands],
        "timetables": [timetable_data(timetable, c.layout) for timetable in c.timetables],
        "machine": machine_data(c.machine),
    }
    if "vectors" not in without:
        data["vectors"] = vectors_data(make_vectors(c.machine))
    return data
