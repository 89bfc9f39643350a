"""The JSON document of a layout, or as much of it as the railway in continuous time reads."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec

import bellcrank
from bellcrank import Sound
from bellcrank.document.controller_data import controller_data
from bellcrank.document.layout_data import layout_data
from bellcrank.document.route_data import locking_data, route_data


def document_of(c: Sound) -> dict[str, Any]:
    """What the document of a sound layout says of track, routes, locking and controller. The
    rest of it takes longer to make than the railway takes to play."""
    parts = {
        "layout": layout_data(c.layout),
        "routes": [route_data(r, c.table) for r in c.table.routes.values()],
        "locking": locking_data(c.locking),
        "controller": controller_data(c.controller, c.layout, c.table),
    }
    document: dict[str, Any] = json.loads(msgspec.json.encode(parts))
    return document


def document_of_file(path: Path) -> dict[str, Any]:
    compiled = bellcrank.compile_file(path)
    assert isinstance(compiled, Sound)
    return document_of(compiled)
