"""Everything known about a layout as one value, the document, from what was compiled.

Written out as JSON it is what control software reads; templates are given it as plain
data. Its types, and with them its schema, are in `document_types.py`.
"""

from __future__ import annotations

from collections.abc import Container

from msgspec import UNSET

from bellcrank.compilation import Checked
from bellcrank.controller.controller_model import Controller
from bellcrank.document.command_data import command_data, states_data, timetable_data
from bellcrank.document.controller_data import controller_data
from bellcrank.document.controller_types import Controller as ToldController
from bellcrank.document.detector_data import times_data
from bellcrank.document.document_types import (
    SPARED,
    VERSION,
    Compiler,
    Document,
    Format,
    Source,
)
from bellcrank.document.layout_data import hardware_data, layout_data
from bellcrank.document.machine_data import machine_data
from bellcrank.document.noticed_data import noticed_data
from bellcrank.document.route_data import conflict_data, locking_data, route_data
from bellcrank.document.vector_data import controller_vectors_data, vectors_data
from bellcrank.document.vector_types import Vectors
from bellcrank.document.verdict_data import moving_data, verdict_data
from bellcrank.rehearsal.input_vectors import make_input_vectors
from bellcrank.rehearsal.vectors import make_vectors
from bellcrank.version import NOTICE, __version__


def build_document(c: Checked, without: Container[str] = ()) -> Document:
    """The whole document, except parts of SPARED that nobody is going to read, and without a
    controller that was not to be proved."""
    there = any(part not in without for part in SPARED)
    failed = c.controlled is not None and not c.controlled.safe
    wanted = there and not failed and bool(c.table.routes)
    controller = c.controller if wanted else None
    told = None if controller is None else controller_data(controller, c.layout, c.table)
    return Document(
        format=Format(name="bellcrank-layout", version=VERSION),
        notice=NOTICE,
        compiler=Compiler(name="bellcrank", version=__version__),
        source=Source(files=list(c.program.texts), sha256=c.source_hash),
        status=c.status,
        verdict=verdict_data(c.standing),
        moving=moving_data(c.moving),
        controlled=None if c.controlled is None else moving_data(c.controlled),
        noticed=noticed_data(c),
        layout=layout_data(c.layout),
        hardware=hardware_data(c.layout, c.table),
        times=times_data(c.layout, c.table),
        locking=locking_data(c.locking),
        routes=[route_data(r, c.table) for r in c.table.routes.values()],
        conflicts=[
            conflict_data(first, second, c.table, c.layout) for first, second in c.table.conflicts
        ],
        states=states_data(c.layout),
        commands=[command_data(command, c.layout) for command in c.commands],
        timetables=[timetable_data(timetable, c.layout) for timetable in c.timetables],
        machine=machine_data(c.machine),
        controller=UNSET if "controller" in without else told,
        vectors=UNSET if "vectors" in without else _vectors(c, controller, told),
    )


def _vectors(c: Checked, controller: Controller | None, told: ToldController | None) -> Vectors:
    """The vectors of the machine, and of the controller if there is one."""
    of_controller = None
    if controller is not None and told is not None:
        inputs = make_input_vectors(controller, lambda: c.composed)
        of_controller = controller_vectors_data(inputs, told)
    return vectors_data(make_vectors(c.machine), of_controller)
