"""What a page for the browser needs beside the document: the machine in few bytes, the
words for what its variables say, and where in the picture each of them shows.

Only data: no rule is told twice. What may happen is in the machine; the words are those
of the rehearsal in the terminal.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterable, Mapping

from bellcrank.compilation import Sound
from bellcrank.controller.view import NOT_KNOWN, SAID_CLEAR, SAID_OCCUPIED
from bellcrank.document.command_types import Command, Wait
from bellcrank.document.document_types import Document
from bellcrank.document.plain import Data
from bellcrank.layout.layout_model import Edge, Layout, Position, Way
from bellcrank.machine import frame
from bellcrank.machine.machine_model import BY_HAND, PROPERTIES, Variable
from bellcrank.page.broken import broken_data
from bellcrank.page.controlled import TURNS, controlled_data, passed, why_uncontrolled
from bellcrank.page.packing import Numbers, Phrases, differences, end_to_end, packed
from bellcrank.picture.marked import KEY
from bellcrank.rehearsal.acts import happens
from bellcrank.rehearsal.railway import Railway
from bellcrank.routes.route_model import Route
from bellcrank.routes.sentences import LETTERS, MEANINGS
from bellcrank.running.reasons import WHICH, fact
from bellcrank.running.simulator import ACCIDENTS


def page_data(c: Sound, document: Document) -> Data:
    """All that the page's script reads, ready to be written as JSON.

    Texts that many things share stand by number in `phrases`.
    """
    phrases = Phrases(_names(c.layout, c.table.routes.values()))
    railway = Railway(c.machine, c.layout, c.table)
    route_number = {name: k for k, name in enumerate(c.table.routes)}
    event_number = {event.name: k for k, event in enumerate(c.machine.events)}
    uncontrolled = why_uncontrolled(document)
    control = c.control if uncontrolled is None else None
    together = None if control is None else c.composed
    variables = (together or c.machine).variables.values()
    data: Data = {
        "title": document.layout.title,
        "status": document.status,
        "source": document.source.sha256,
        "compiler": document.compiler.version,
        "machine": packed(c.machine, phrases, together),
        "turns": [TURNS.index(happens(railway, e)) for e in c.machine.events],
        "passes": passed(railway, c.machine),
        "uncontrolled": uncontrolled,
        "words": {
            "clear": phrases(frame.CLEAR),
            "meeting": phrases(frame.MEETING),
            "derailed": phrases(frame.DERAILED),
            "free": phrases(frame.FREE),
            "at stop": phrases(frame.AT_STOP),
            "put back": phrases(frame.PUT_BACK),
            "idle": phrases(frame.IDLE),
            "set": phrases(frame.SET),
            "which": [[phrases(stage), phrases(words)] for stage, words in WHICH.items()],
            "under way": phrases("whose train is under way"),
            "standing": phrases(frame.STANDING),
            "reported occupied": phrases(SAID_OCCUPIED),
            "reported clear": phrases(SAID_CLEAR),
            "not known": phrases(NOT_KNOWN),
        },
        "facts": [_facts(v, phrases) for v in variables],
        "accidents": sorted(ACCIDENTS),
        "by hand": sorted(BY_HAND),
        "properties": PROPERTIES,
        "track": _track(railway),
        "detection": document.layout.detection,
        "sections": [[s.name, list(s.elements)] for s in c.layout.sections.values()],
        "conditions": conditions(c.layout),
        "drives": {d.name: list(d.elements) for d in c.layout.drives.values()},
        "aspects": {s.name: [a.name for a in s.aspects] for s in c.layout.signals.values()},
        "edges": list(c.layout.edges),
        "before": before_signals(c.layout),
        "routes": [route_shown(r) for r in c.table.routes.values()],
        "conflicts": _conflicts(document, route_number, phrases),
        "key": KEY,
        "kinds": [[kind, letter, MEANINGS[kind]] for kind, letter in LETTERS.items()],
        "lists": _lists(document, route_number, phrases),
        "stories": _stories(document, event_number),
        "broken": None,
    }
    if control is not None and together is not None:
        if document.noticed is not None:
            data["broken"] = broken_data(document.noticed, together, phrases)
        data["controlled"] = controlled_data(control, together, railway, phrases)
    return data | {"phrases": phrases.data()}


def squeezed(data: Data) -> str:
    """Data as JSON (UTF-8), deflated (RFC 1951) and in base64 (RFC 4648), so that a large
    station stays a small file and nothing in it can be taken for HTML."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    return base64.b64encode(packer.compress(text.encode()) + packer.flush()).decode("ascii")


def _names(layout: Layout, routes: Iterable[Route]) -> Iterable[str]:
    """What texts about a layout differ in."""
    yield from (*layout.elements, *layout.sections, *layout.signals, *layout.drives)
    yield from layout.edges
    for route in routes:
        yield route.name
    for kind in {e.kind.name: e.kind for e in layout.elements.values()}.values():
        yield from kind.legs
        for positions in kind.drives.values():
            yield from positions


def _facts(v: Variable, phrases: Phrases) -> list[list[int]]:
    """What each value says; of track also what is worth saying if a clear track would have
    done as well, and if it would not."""
    plain = [phrases(fact(v, value)) for value in v.values]
    if v.kind != "track":
        return [plain]
    other = frozenset(v.values[1:])
    return [
        plain,
        [phrases(fact(v, value, other | {frame.CLEAR})) for value in v.values],
        [phrases(fact(v, value, other)) for value in v.values],
    ]


def _ways(ways: Iterable[Way]) -> list[list[str]]:
    """Ways by what the picture marks them with: the element and its two legs."""
    return [[w.element, w.entry, w.exit] for w in ways]


def conditions(layout: Layout) -> list[object]:
    """The ways that depend on drives, each with the drives and where they must lie."""
    found: dict[tuple[str, ...], tuple[Position, ...]] = {}
    for leg in layout.joined:
        for way in layout.ways_from(leg):
            if way.when:
                found.setdefault((way.element, *sorted((way.entry, way.exit))), way.when)
    return [[list(way), _pairs(when)] for way, when in found.items()]


def before_signals(layout: Layout) -> dict[str, list[str]]:
    """Where a train stands before each signal: in which element, or at which edge."""
    return {
        s.name: ["edge", s.before.name]
        if isinstance(s.before, Edge)
        else ["element", s.before.element]
        for s in layout.signals.values()
    }


def _pairs(positions: Iterable[Position]) -> list[list[str]]:
    return [[drive, position] for drive, position in positions]


def _track(railway: Railway) -> list[object]:
    """For each track variable, in order: the elements, the ways of each of its values that is
    a train on a passage, and which of these are the front of one."""
    machine, parts = railway.machine, railway.parts
    found: list[object] = []
    for v in machine.variables.values():
        if v.kind != "track":
            continue
        part = parts.parts[v.of]
        ways: dict[str, list[list[str]]] = {}
        fronts = railway.fronts_in(part.name)
        for passage in part.passages:
            for value in (frame.here(passage), frame.passing(passage)):
                ways[value] = _ways(passage.ways)
        found.append(
            [
                list(part.elements),
                [ways.get(value, []) for value in v.values],
                [k for k, value in enumerate(v.values) if value in fronts],
            ]
        )
    return found


def route_shown(route: Route) -> Data:
    return {
        "name": route.name,
        "from": route.start,
        "to": route.end,
        "ends": route.end_kind,
        "calling": route.calling_on,
        "aspect": route.aspect,
        "ways": _ways(route.ways),
        "sections": list(route.sections),
        "clear": [s for s in route.sections_clear if s not in route.overlap_sections],
        "positions": _pairs(route.positions),
        "overlap": list(route.overlap_sections) if route.overlap else None,
        "overlap_positions": _pairs(route.overlap_positions),
        "flank": _pairs(route.flank),
    }


def _conflicts(document: Document, number: Mapping[str, int], phrases: Phrases) -> Data:
    """Pairs of routes with the numbers of their reasons; each reason with its kind, its
    sentence, and the names of where it is; both as differences, end to end."""
    kinds = list(LETTERS)
    reasons: Numbers[tuple[int, ...]] = Numbers()
    pairs = []
    for pair in document.conflicts:
        one, other = pair.routes
        found = [number[one], number[other]]
        for r in pair.reasons:
            where = [*r.where, *(o.drive for o in r.opposed)]
            said = phrases(r.sentence)
            found.append(reasons((kinds.index(r.kind), said, *map(phrases, where))))
        pairs.append(found)
    return {
        "reasons": end_to_end(differences(reasons.listed())),
        "pairs": end_to_end(differences(pairs)),
    }


def _lists(document: Document, number: Mapping[str, int], phrases: Phrases) -> Data:
    """The lists of commands.

    rows: all that is told of a command, each once; also: the lamps that it lights beside the
    first one, or null. lists: what for, the route or null,
    the total time, and for each command its row, when it is sent and done, and what is
    waited for before; last what is waited for at the end.
    """
    rows: Numbers[tuple[int | None, ...]] = Numbers()
    frogs = {d.name for d in document.layout.drives if d.device == "frog"}

    def row(c: Command) -> int:
        device = None if c.name in frogs else c.device  # the name of a frog says so
        also = "; ".join(f"{x.decoder}.{x.output}, {x.number} {x.side}" for x in c.lights) or None
        words = (c.phase, device, c.name, c.state, c.how, c.decoder, c.side, also)
        return rows(
            (
                *(None if word is None else phrases(word) for word in words),
                c.output,
                c.number,
                c.milliseconds,
                *(number[route] for route in c.only_if_set),
            )
        )

    def waits(given: Iterable[Wait]) -> list[int]:
        return [phrases(wait.sentence) for wait in given]

    lists = [
        [
            t.what,
            None if t.route is None else number[t.route],
            t.total,
            [[row(each.command), each.at, each.until, waits(each.after)] for each in t.commands],
            waits(t.waits),
        ]
        for t in document.timetables
    ]
    return {"rows": rows.listed(), "lists": lists}


def _stories(document: Document, number: Mapping[str, int]) -> list[Data]:
    """Every story: what it refutes, how drives lie at the start, its events by number."""
    return [
        {
            "of": result.name,
            "sentence": result.sentence,
            "start": [[s.drive, s.position] for s in result.story.start],
            "events": [number[step.event] for step in result.story.steps],
            "places": [step.place for step in result.story.steps],
            "ending": result.story.ending,
            "shortest": result.story.shortest,
        }
        for result in document.moving.results
        if result.story is not None
    ]
