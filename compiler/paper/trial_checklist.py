"""What is tried before trains run, and the control table beside it, from the document.

Routes have numbers in the order of the document, so that a long list of them stays
short on paper.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from bellcrank.document.command_data import packet_of
from bellcrank.document.data import Data
from bellcrank.terminal.tables import ranges


def control_rows(document: Data) -> list[Data]:
    """A row a route: what it needs, what it keeps out, and how it is released.

    points: the drives by the position they must lie in, each position once, in the order
        in which it comes up; those of the overlap and the flank are in columns of their own.
    against: the numbers of the conflicting routes.
    behind: sections released one after another behind its train.
    """
    numbers = {r["name"]: n for n, r in enumerate(document["routes"], start=1)}
    behind: dict[str, list[str]] = defaultdict(list)
    for event in document["machine"]["events"]:
        if event["kind"] == "section released":
            behind[event["route"]].append(event["of"])
    rows = []
    for route in document["routes"]:
        overlap = route["overlap"] or {"sections": [], "positions": []}
        own = [s for s in route["sections_clear"] if s not in overlap["sections"]]
        rows.append(
            {
                "number": numbers[route["name"]],
                "route": route,
                "points": by_position(route["positions"]),
                "sections": own,
                "overlap": overlap["sections"],
                "overlap_points": by_position(overlap["positions"]),
                "flank": by_position(route["flank"]),
                "against": ranges(numbers[name] for name in route["conflicts"]),
                "behind": behind[route["name"]],
            }
        )
    return rows


def by_position(positions: Iterable[Data]) -> list[Data]:
    """Drives together that lie alike, in the order in which each position comes up."""
    together: dict[str, list[str]] = {}
    for p in positions:
        together.setdefault(p["position"], []).append(p["drive"])
    return [{"position": position, "drives": drives} for position, drives in together.items()]


def drive_checks(document: Data) -> list[Data]:
    """Each drive with a throw for each of its positions, with its packet, and what may be
    seen after it."""
    return [
        {
            "drive": drive,
            "names": [p["position"] for p in drive["positions"]],
            "throws": [
                {**p, "packet": _packet(p, document, drive["action"])} for p in drive["positions"]
            ],
        }
        for drive in document["layout"]["drives"]
    ]


def signal_checks(document: Data) -> list[Data]:
    """Each signal with its aspects, each with the packet that brings it about."""
    return [
        {**s, "aspects": [{**a, "packet": _packet(a, document)} for a in s["aspects"]]}
        for s in document["layout"]["signals"]
    ]


def _packet(state: Data, document: Data, action: str | None = None) -> Data | None:
    """The bytes of the packet for a position or an aspect, `on`, and for a coil those that
    end its pulse, `off`; None without an output, or if outputs have no numbers in packets."""
    first = document["hardware"]["first_decoder"]
    packet = packet_of(state["number"], state["side"], state.get("value"), first)
    if packet is None:
        return None
    return {"on": packet["on"], "off": packet["off"] if action == "coil" else None}


def route_checks(document: Data) -> list[Data]:
    """Each route with what must be seen once it is set alone, from the commands that set it.

    stop: signals that it puts to stop, its own left out, as that shows an aspect at the
        end. Those are among them that only go to stop while some other route is set.
    milliseconds: how long its setting takes; None where no timetable says.
    """
    numbers = {r["name"]: n for n, r in enumerate(document["routes"], start=1)}
    commands: dict[str, list[Data]] = defaultdict(list)
    for command in document["commands"]:
        commands[command["route"]].append(command)
    takes = {t["route"]: t["total"] for t in document.get("timetables", []) if t["what"] == "set"}
    checks = []
    for route in document["routes"]:
        of_it = commands[route["name"]]
        stop = [c["name"] for c in of_it if c["phase"] == "signals to stop"]
        checks.append(
            {
                "number": numbers[route["name"]],
                "name": route["name"],
                "lies": [
                    {"drive": c["name"], "position": c["state"]}
                    for c in of_it
                    if c["phase"] == "drives"
                ],
                "stop": [name for name in stop if name != route["from"]],
                "signal": route["from"],
                "aspect": route["aspect"],
                "milliseconds": takes.get(route["name"]),
            }
        )
    return checks


def refusals(document: Data) -> list[Data]:
    """For each route the later ones that must be refused while it is set.

    Every pair of conflicting routes is in it once: under the one that comes first.
    """
    numbers = {r["name"]: n for n, r in enumerate(document["routes"], start=1)}
    later: dict[str, set[str]] = defaultdict(set)
    for conflict in document["conflicts"]:
        first, second = sorted(conflict["routes"], key=numbers.__getitem__)
        later[first].add(second)
    return [
        {
            "number": numbers[first],
            "name": first,
            "refused": [
                {"number": numbers[name], "name": name}
                for name in sorted(later[first], key=numbers.__getitem__)
            ],
        }
        for first in numbers
        if first in later
    ]
