"""The command `why`: a route explained, or why two conflict or may run together."""

from __future__ import annotations

import argparse
from typing import Any

from rich.text import Text

from bellcrank.commands.proving import (
    FAULTY,
    PROVED,
    compile_layout,
    layout_command,
    routes_asked_for,
    show_report,
)
from bellcrank.compilation import Compilation
from bellcrank.document.report_types import PairExplained
from bellcrank.document.route_data import conflict_data, route_data
from bellcrank.machine.locking import written_rules_between
from bellcrank.picture.sketch import sketch
from bellcrank.proof.standing.standing_check import can_stand
from bellcrank.routes.route_model import Route
from bellcrank.routes.sentences import why_conflict
from bellcrank.terminal.console import print_json, show, width
from bellcrank.terminal.tables import route_text


def add_why(commands: Any) -> None:
    """Add the command to those of the command line."""
    parser = layout_command(
        commands,
        "why",
        "explain a route, or why two routes conflict or may run together",
        'bellcrank why harbour-terminus.crank "W1 to T1"\n'
        "bellcrank why harbour-terminus.crank W1 to T1 G1 to T2",
    )
    parser.add_argument("routes", nargs="+", metavar="ROUTE", help="one route, or two")
    parser.set_defaults(run=why)


def why(options: argparse.Namespace) -> int:
    """Run the command; returns the exit status."""
    c = compile_layout(options, None)
    if c.table is None or c.layout is None or not c.ok:
        show_report(options, c)
        return FAULTY
    routes = routes_asked_for(options, c.table)
    if routes is None:
        return FAULTY
    if len(routes) == 1:
        if options.json:
            print_json(route_data(routes[0], c.table))
        else:
            show(route_text(routes[0], c.layout, c.table, width()))
        return PROVED
    _explain_pair(c, routes[0], routes[1], as_json=options.json)
    return PROVED


def _explain_pair(c: Compilation, one: Route, other: Route, *, as_json: bool) -> None:
    assert c.layout and c.table and c.locking
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
