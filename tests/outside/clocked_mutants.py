"""Controllers in which a part of one guard was left out: what a simulated railway must find out.

Not every one does harm: much is asked for twice, so that one question answers for the other.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any, Literal, NamedTuple, get_args

from clocked_track import Json

MutantKind = Literal[
    "a request does not ask whether a section is held",
    "a request does not ask whether a section is clear",
    "a signal is off though a drive does not lie right",
    "a section is released before its train has come beyond it",
    "a route is released before its train has come to its end",
    "a route is released before the track behind is clear",
]

KINDS: tuple[MutantKind, ...] = get_args(MutantKind)


class Mutant(NamedTuple):
    """A controller without some clauses of one guard."""

    kind: MutantKind
    name: str
    controller: Json


def mutants(controller: Json) -> Iterator[Mutant]:
    """All controllers of these kinds."""
    held = {h["variable"] for h in controller["held"]}
    reports = {r["variable"] for r in controller["reports"]}
    lying = {t["variable"] for t in controller["throws"]}
    progress = {p["variable"] for p in controller["progress"]}
    lamps = {
        m["variable"]: {s["value"] for s in m["shows"] if s["off"]} for m in controller["lamps"]
    }
    for i, entry in enumerate(controller["inputs"]):
        if entry["kind"] != "request":
            continue
        for r, reaction in enumerate(entry["reactions"]):
            path = ("inputs", i, "reactions", r)
            read = {v for clause in reaction["guard"] for v in _reads(clause)}
            for variable in sorted(read & held):
                yield _without(controller, KINDS[0], path, [variable])
            for variable in sorted(read & reports):
                yield _without(controller, KINDS[1], path, [variable])
    for i, step in enumerate(controller["steps"]):
        path = ("steps", i)
        changed = {update["variable"] for update in step["updates"]}
        read = {v for clause in step["guard"] for v in _reads(clause)}
        off = any(
            change["to"] in lamps.get(update["variable"], ())
            for update in step["updates"]
            for change in update["becomes"]
        )
        if off:
            for variable in sorted(read & lying):
                yield _without(controller, KINDS[2], path, [variable])
        elif changed <= held:
            for variable in sorted(read & progress):
                yield _without(controller, KINDS[3], path, [variable])
        elif changed & held and changed & progress:
            for variable in sorted(read & changed & progress):
                yield _without(controller, KINDS[4], path, [variable])
            behind = sorted(read & (reports | held))
            if behind:
                yield _without(controller, KINDS[5], path, behind)


def _reads(clause: Any) -> set[str]:
    return {literal["variable"] for literal in clause}


def _without(
    controller: Json, kind: MutantKind, path: tuple[str | int, ...], gone: Collection[str]
) -> Mutant:
    """Without all clauses of a guard that read one of some variables."""

    def changed(place: Any, path: tuple[str | int, ...]) -> Any:
        if not path:
            name.append(place["name"])
            guard = [clause for clause in place["guard"] if not _reads(clause).intersection(gone)]
            return {**place, "guard": guard}
        first, *rest = path
        copy = list(place) if isinstance(place, list) else dict(place)
        copy[first] = changed(copy[first], tuple(rest))
        return copy

    name: list[str] = []
    mutant = changed(controller, path)
    return Mutant(kind, f"{name[0]} without {', '.join(gone)}", mutant)
