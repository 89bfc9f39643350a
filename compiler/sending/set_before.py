"""The routes that a log shows as set and not cancelled since.

Whether a train has run through one meanwhile, and who else has thrown what, no log tells: so
this is what somebody must be asked about, and never what may be relied on.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from bellcrank.machine.locking import Locking
from bellcrank.routes.route_model import RouteTable
from bellcrank.sending.log_rows import Answered, Begun, Commanded, Ended, Entry


@dataclass(frozen=True, slots=True)
class SetBefore:
    """A route that was set. time: when that was begun."""

    route: str
    time: datetime


def set_before(entries: Iterable[Entry]) -> tuple[SetBefore, ...]:
    """The routes of a log, in its order.

    One that was broken off counts as set unless all its signals went to stop; so does one of
    which the log does not say how it ended.
    """
    found: dict[str, SetBefore] = {}
    run: Begun | None = None
    began: datetime | None = None
    stands = False
    for entry in entries:
        match entry.row:
            case Begun() as run:
                began, stands = entry.time, False
            case Commanded("sent" | "in doubt") if run and run.does == "set" and run.route:
                assert began is not None
                found.pop(run.route, None)
                found[run.route] = SetBefore(run.route, began)
            case Commanded("not put to stop"):
                stands = True
            case Answered(True, name, "released"):
                found.pop(name, None)
            case Ended(how) if run is not None:
                if run.does in ("start up", "all to stop") and how == "done":
                    found.clear()
                elif _is_over(run, how, stands=stands):
                    found.pop(run.route or "", None)
                run = None
    return tuple(found.values())


def _is_over(run: Begun, how: str, *, stands: bool) -> bool:
    """Whether the route of a run is not set when that has ended.

    stands: whether a signal could not be put to stop.
    """
    return how == "done" if run.does == "cancel" else how != "done" and not stands


def against(
    route: str, before: Iterable[SetBefore], table: RouteTable, locking: Locking
) -> tuple[SetBefore, ...]:
    """Those with which a route may not be set, on the track or by a rule of the locking, or
    only under a condition."""
    barred = set(table.conflicting[route])
    for lock in locking.locks:
        if route in (lock.first, lock.second):
            barred |= {lock.first, lock.second}
    barred.discard(route)
    return tuple(earlier for earlier in before if earlier.route in barred)
