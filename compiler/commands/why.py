"""The command `why`: a route explained, or why two conflict or may run together."""

from __future__ import annotations

from pathlib import Path

from rich.text import Text

from bellcrank.commands.exit_statuses import FAULTY, PROVED
from bellcrank.commands.reading_layout import compile_layout
from bellcrank.commands.reports import show_errors
from bellcrank.commands.route_words import routes_asked_for
from bellcrank.compilation import Broken, Sound
from bellcrank.document.report_types import PairExplained
from bellcrank.document.route_data import conflict_data, route_data
from bellcrank.machine.locking import written_rules_between
from bellcrank.proof.standing.standing_check import can_stand
from bellcrank.routes.route_model import Route
from bellcrank.routes.sentences import why_conflict
from bellcrank.terminal.console import print_json, show, width
from bellcrank.terminal.sketch import sketch
from bellcrank.terminal.tables import route_text


def why(file: Path, routes: tuple[str, ...], json: bool) -> int:
    """Run the command; returns the exit status."""
    c = compile_layout(file)
    if isinstance(c, Broken):
        return show_errors(c, json=json)
    found = routes_asked_for(routes, c.table, json=json)
    if found is None:
        return FAULTY
    if len(found) == 2:
        _explain_pair(c, *found, as_json=json)
    elif json:
        print_json(route_data(found[0], c.table))
    else:
        show(route_text(found[0], c.layout, c.table, width()))
    return PROVED


def _explain_pair(c: Sound, one: Route, other: Route, *, as_json: bool) -> None:
    why = why_conflict(one, other, c.layout, c.table)
    rules = written_rules_between(c.locking, one.name, other.name)
    if as_json:
        pair = (one.name, other.name)
        if pair not in c.table.conflicts:
            pair = pair[::-1]
        reasons = conflict_data(*pair, c.table, c.layout).reasons
        names = [one.name, other.name]
        print_json(
            PairExplained(
                routes=names,
                conflict=bool(why),
                reasons=reasons,
                written_rules=list(rules),
                can_stand=can_stand(c.layout, c.table, c.locking, names),
            )
        )
        return
    standing = can_stand(c.layout, c.table, c.locking, (one.name, other.name))
    sentence = f"{one.name} and {other.name} conflict: {why}."
    if not why:
        sentence = (
            f"{one.name} and {other.name} {'may run together' if standing else 'do not meet'}: "
            "they share no section, no fitting and no drive in opposite positions."
        )
    show(Text(sentence))
    if why:
        for line in sketch(c.layout, one, other, width() - 2):
            show(Text(f"  {line}"))
    for rule in rules:
        show(Text(f"A written rule keeps them apart: {rule}."))
    if standing is None:
        show(Text("Whether the locking lets both be set could not be decided."))
    elif why and standing:
        show(Text("The locking lets both be set all the same."))
    elif not why and not standing and not rules:
        show(Text("The locking, taken as a whole, never lets both be set."))
