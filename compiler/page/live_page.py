"""What the page of the running railway shows of its layout: the picture, and where in it each
thing is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bellcrank.compilation import Checked
from bellcrank.document.plain import Data
from bellcrank.machine import frame
from bellcrank.page.page import before_signals, conditions, route_shown
from bellcrank.picture.marked import KEY
from bellcrank.terminal.outcome_words import status_words


def live_data(
    c: Checked, looked_at: Mapping[str, Sequence[str]], picture: str, *, only_watched: bool = False
) -> Data:
    """looked_at: of each route the sections of which no report tells. picture: the track plan, as
    SVG. only_watched: nothing is commanded, and no signal is known."""
    return {
        "title": c.layout.title,
        "only_watched": only_watched,
        "status": status_words(c.status),
        "picture": picture,
        "key": KEY,
        "sections": [[s.name, list(s.elements)] for s in c.layout.sections.values()],
        "conditions": conditions(c.layout),
        "drives": {d.name: list(d.elements) for d in c.layout.drives.values()},
        "aspects": {s.name: [a.name for a in s.aspects] for s in c.layout.signals.values()},
        "edges": list(c.layout.edges),
        "before": before_signals(c.layout),
        "routes": [route_shown(r) for r in c.table.routes.values()],
        "looked_at": {route: list(sections) for route, sections in looked_at.items() if sections},
        "words": {"free": frame.FREE, "at stop": frame.AT_STOP, "put back": frame.PUT_BACK},
    }
