"""Watching a railway that another controller works: it commands nothing, and tells when what is
reported could not have happened under the proved locking.

Of what goes on only the reports are known. Kept are the states in which the railway can be under
its locking after all that was reported (`controller/watched.py`, `running/explaining.py`). Routes
are taken to be set, and trains to move, as late as the reports allow. So a train that passes a
signal at stop on to track that is free, where a route could have been set for it, is not noticed:
as far as reports go it was. What is noticed is what no route could have led to: a train where
another is under way, points that move under a train or against its route. What can only be if
somebody put vehicles down or lifted them off is told as that.

When nothing fits any more it says so, and begins anew with what is reported then.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from bellcrank.controller.reactions import Control
from bellcrank.controller.watched import watched
from bellcrank.layout.layout_model import Layout
from bellcrank.live.box import Box
from bellcrank.live.decisions import Decision, Heard, Known
from bellcrank.live.sentences import reported
from bellcrank.live.unseen import UNLIKELY, ReportsAlone
from bellcrank.machine.frame import CLEAR
from bellcrank.machine.machine_model import Clause, Event, EventKind, Machine, State
from bellcrank.routes.route_model import RouteTable
from bellcrank.routes.sentences import listed
from bellcrank.running.explaining import Fitting
from bellcrank.running.reacting import BY_PEOPLE
from bellcrank.running.reasons import unmet, what_is_instead

ONLY_WATCHED = "the railway is only watched"

_GOES_ON = 7
"""How unlikely it is that what stands goes on with no signal before it. It may when watching began
while it was on its way; later it is as good as never so."""

_FROM_NOWHERE: frozenset[EventKind] = frozenset(("stands", "put down"))

_MOST_REASONS = 3


class Watch(Box):
    """A signal box that only listens."""

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        control: Control,
        alone: Machine,
        links: Iterable[str] = (),
    ) -> None:
        super().__init__(layout, table, control, links)
        self._frame = control.view.frame
        railway = watched(control.view, alone)
        self._machine = railway.machine
        self._number = {event.name: n for n, event in enumerate(self._machine.events)}
        self._trains = railway.trains
        self._reports = railway.reports
        unlikely = {event.name: 0 for event in (*railway.trains, *railway.thrown)}
        unlikely |= {event.name: _GOES_ON for event in railway.goes_on}
        unlikely |= {event.name: UNLIKELY[event.kind] for event in railway.stayed}
        unlikely |= {event.name: UNLIKELY[event.kind] for event in railway.by_hand}
        self._hands = {self._number[event.name] for event in railway.by_hand}
        self._seen = ReportsAlone(
            self._machine,
            {self._number[name]: cost for name, cost in unlikely.items()},
            [self._number[event.name] for event in railway.released],
            for_ever=True,
        )

    def decide(self, heard: Heard, now: float) -> Decision:
        """What is made of something heard."""
        match heard.kind:
            case kind if kind in BY_PEOPLE or kind == "thrown by hand":
                return Decision(heard, now, "refused", (ONLY_WATCHED,))
            case "start" | "stop":
                return Decision(heard, now, "refused", (ONLY_WATCHED,))
            case "lost":
                self.absent.add(heard.of)
                self.forget(heard.of)
                self.because = heard.value or f"{heard.of} is lost"
                return Decision(heard, now, "stopped", (self.because,))
            case "here":
                return super().decide(heard, now)
            case "not understood":
                said = f"{heard.who or 'a link'} said `{heard.value}`, which means nothing"
                return Decision(heard, now, "alarm", (said,))
            case "occupied" | "clear" | "lies" | "nowhere":
                new = self.remember(heard)
                if heard.kind == "nowhere" or not new:
                    return Decision(heard, now, "noted" if new else "nothing new")
                if not self.running:
                    return self._begin(heard, now)
                return self._watch(heard, now)
        return Decision(heard, now, "noted")

    def _begin(self, heard: Heard, now: float) -> Decision:
        """Begin, once all has been reported."""
        if self.absent or self.missing().any:
            return Decision(heard, now, "noted")
        known = self._anew()
        self.because = None
        return Decision(heard, now, "started", ("all has reported: it watches",), (), known)

    def _anew(self) -> Known:
        """Take everything as it is reported now."""
        occupied = tuple(s for s in self.layout.sections if self.sections.get(s) == "occupied")
        lies = tuple((d, position) for d, position in self.drives.items() if position)
        state = self._machine.start()
        for drive, position in lies:
            state[self._frame.drive[drive].name] = position
        self._seen.begin(state, occupied)
        return Known(occupied, lies)

    def _watch(self, heard: Heard, now: float) -> Decision:
        report = self._reports.get((heard.of, heard.value or heard.kind))
        if report is None:
            return Decision(heard, now, "noted")  # of a drive or section that is not to report
        before = self._seen.likeliest
        occupied = heard.of if heard.kind == "occupied" else None
        if not self._seen.see([self._number[report.name]], occupied):
            why = self._why(heard, before)
            self._anew()
            said = f"{reported(heard)}, and under the proved locking that cannot be{why}"
            return Decision(heard, now, "alarm", (said,))
        events = self._seen.likeliest.events
        by_hand = [self._machine.events[number] for number in events if number in self._hands]
        if not by_hand:
            return Decision(heard, now, "noted")
        done = listed(list(_done_by_hand(by_hand)))
        if all(event.kind not in _FROM_NOWHERE for event in by_hand):
            said = f"{reported(heard)}: under the proved locking that can only be since {done}"
            return Decision(heard, now, "done", (said,))
        why = self._why(heard, before)
        said = f"{reported(heard)}, and under the proved locking that cannot be unless {done}{why}"
        return Decision(heard, now, "alarm", (said,))

    def _why(self, heard: Heard, before: Fitting) -> str:
        """What stands in the way of all that could have led to a report."""
        state = self._seen.state(before)
        reasons = list(dict.fromkeys(self._reasons(heard, state)))[:_MOST_REASONS]
        return f": {'; '.join(reasons)}" if reasons else ""

    def _reasons(self, heard: Heard, state: State) -> Iterator[str]:
        if heard.kind == "lies":
            yield from self._instead(self._reports[heard.of, heard.value], state)
        elif heard.kind == "occupied":
            for event in self._trains:
                yield from self._why_not_entered(event, heard.of, state)

    def _why_not_entered(self, event: Event, section: str, state: State) -> Iterator[str]:
        """Why a train that is there has not gone on towards a section by an event, if one is
        there."""
        route = None if event.route is None else self.table.routes[event.route]
        if route is not None:
            if section not in route.sections:
                return
        elif event.entry is None or self.layout.section_of[event.entry.element] != section:
            return
        if any(self._asks_for_a_train(clause) for clause in unmet(event.guard, state)):
            return
        instead = "; ".join(self._instead(event, state))
        if instead:
            yield instead if route is None else f"{route.name} cannot have been set: {instead}"

    def _asks_for_a_train(self, clause: Clause) -> bool:
        """Whether a clause says that a train is somewhere."""
        variables = (self._machine.variables[literal.variable] for literal in clause)
        return all(
            variable.kind == "track" and CLEAR not in literal.values
            for variable, literal in zip(variables, clause, strict=True)
        )

    def _instead(self, event: Event, state: State) -> tuple[str, ...]:
        return what_is_instead(event.guard, state, self._machine.variables, event.route)


def _done_by_hand(events: Sequence[Event]) -> Iterator[str]:
    """What somebody must have done; a train that was left standing and lifted off was lifted
    off."""
    lifted = {event.of for event in events if event.kind == "taken off"}
    for event in events:
        if event.kind == "taken off":
            yield f"what was in {event.of} was taken off"
        elif event.kind == "stands":
            yield f"something was put down in {event.of}"
        elif event.kind == "put down":
            yield f"a train was put down before {event.of}"
        elif event.kind != "uncoupled" or event.of not in lifted:
            yield event.text
