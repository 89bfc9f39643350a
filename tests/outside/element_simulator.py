"""A railway simulated element by element, written from grammar/README.md alone.

A train is the row of elements that it lies on, of any length. Interlocking, drives and
trains do what "How the machine behaves" says, one event at a time, and what the printed
assumptions rule out does not happen, unless an assumption is dropped. No code is shared
with the compiler, and the machine's stretches of track are not known here.

A state is changed by acts; whether one may happen is asked of `possible`, and
`element_properties` says what is then wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

from element_interlocking import Interlocking
from element_state import (
    CLOSING,
    IDLE,
    SET,
    STOP_ASPECT,
    Act,
    Kind,
    PutBack,
    Stage,
    State,
    Train,
)
from plain_railway import EDGE, STOP, End, PlainRoute, Way


@dataclass
class Simulator(Interlocking):
    """Plays a railway.

    most_trains: that are about at once.
    turns_anywhere: whether a train whose route has ended turns back though no signal stands
        behind it, except at elements in `no_way_back`.
    by_hand: whether vehicles are put down or uncoupled, to stand where they are.
    """

    most_trains: int = 3
    turns_anywhere: bool = False
    no_way_back: frozenset[str] = frozenset()
    by_hand: bool = True

    def start(self, drives: dict[str, str]) -> State:
        """Nothing is set, no train is on the layout; drives lie anywhere."""
        return State(
            dict(drives),
            set(),
            dict.fromkeys(self.railway.signals, STOP_ASPECT),
            {},
            [IDLE] * len(self.railway.routes),
            {},
        )

    # --------------------------------------------------------------------- trains

    def can_pass(self, state: State, signal: str) -> tuple[bool, PlainRoute | None]:
        """Whether a train may pass a signal, and for which route."""
        shows = state.signals[signal]
        if isinstance(shows, PutBack):
            closing = state.stages[shows.route] == CLOSING
            return True, self.railway.routes[shows.route] if closing else None
        if shows != STOP_ASPECT:
            # Late: the route has been cancelled already, and the train goes on it still.
            return True, self.railway.routes[shows]
        return "signals obeyed" in self.dropped, None

    def can_move(self, state: State, train: Train) -> bool:
        if train.leaving:
            return False
        front = train.body[-1]
        end = (front.element, front.exit)
        if self.railway.beyond[end] == STOP:
            return False
        signal = self.railway.read_at.get(end)
        return signal is None or self.can_pass(state, signal)[0]

    def can_turn(self, state: State, number: int) -> bool:
        """Whether a train turns back: its route has ended, it stands whole in one section,
        and the track behind it, in that section, ends at a signal that lets it out."""
        train = state.trains[number]
        if train.leaving or train.coming_from:
            return False
        front, of = train.body[-1], self.railway.section_of
        section = of[front.element]
        if "route ended first" not in self.dropped:
            for route, stage in self.under_way(state):
                if stage.train == number and not self.ends_here(route, stage):
                    return False
        if "route ended first" in self.dropped or "no way back" in self.dropped:
            return True
        if any(of[way.element] != section for way in train.body):
            return False
        for one, other in zip(train.body, train.body[1:], strict=False):
            if (other.element, other.entry) in self.railway.read_at:
                return self.without_signal(front.element)
            del one
        end = (train.body[0].element, train.body[0].entry)
        passed = {way.element for way in train.body}
        while True:
            if end in self.railway.read_at:
                return True
            beyond = self.railway.beyond[end]
            if beyond not in self.railway.ways or of[beyond[0]] != section or beyond[0] in passed:
                return self.without_signal(front.element)
            # Between signals it goes on as the drives lie.
            ways = [
                way
                for way, lies in self.railway.ways[beyond]
                if all(self.lies(state, d, p) for d, p in lies)
            ]
            if not ways:
                return False
            passed.add(beyond[0])
            end = (beyond[0], ways[0].exit)

    def without_signal(self, element: str) -> bool:
        return self.turns_anywhere and element not in self.no_way_back

    # ----------------------------------------------------------------------- acts

    def candidates(self, state: State, kind: Kind) -> list[Act]:
        """Acts of a kind that might be possible."""
        rail = self.railway
        match kind:
            case "request" | "cancel" | "signal clears" | "released by time" | "route released":
                wanted = {
                    "request": ("idle",),
                    "cancel": ("set",),
                    "signal clears": ("set",),
                    "released by time": ("closing",),
                    "route released": ("way",),
                }[kind]
                return [
                    Act(kind, number)
                    for number, stage in enumerate(state.stages)
                    if stage.name in wanted
                ]
            case "section released":
                return [
                    Act(kind, route.number, section)
                    for route, _ in self.under_way(state)
                    for section in route.sections[:-1]
                    if state.held.get(section) == route.number
                ]
            case "drive arrives":
                return [Act(kind, name=drive) for drive in sorted(state.moving)]
            case "time runs out":
                return [
                    Act(kind, name=name)
                    for name, shows in state.signals.items()
                    if isinstance(shows, PutBack)
                ]
            case "moves" | "tail leaves" | "turns back":
                return [Act(kind, number) for number in state.trains]
            case "comes in":
                return [Act(kind, name=edge) for edge in rail.approach] + [
                    Act(kind, name=edge)
                    for edge in sorted(rail.unwatched)
                    if "edges watched" in self.dropped
                ]
            case "passes at the edge":
                return [
                    Act(kind, name=edge) for edge, approach in rail.approach.items() if not approach
                ]
            case "put down":
                places = [
                    Act(kind, name=signal)
                    for signal, (before, _) in rail.signals.items()
                    if before[0] != EDGE and self._ways_before(signal)
                ]
                if "put down before a signal" in self.dropped:
                    places += [Act(kind, 0, piece) for piece in sorted(rail.pieces)]
                return places
            case "stands":
                elements = rail.section_of if self.by_hand else ()
                return [Act(kind, name=e) for e in elements if e not in state.standing]
            case "taken off":
                return [Act(kind, name=element) for element in sorted(state.standing)]
            case "uncoupled":
                return [Act(kind, number) for number in state.trains] if self.by_hand else []
            case "ready to leave":
                # The number says on how many elements they stand that leave together.
                return [
                    Act(kind, count + 1, signal)
                    for signal in rail.signals
                    for count in range(len(self._standing_before(state, signal)))
                ]
            case "drive slips":
                if "points hold" in self.dropped:
                    return [Act(kind, name=drive) for drive in rail.drives]
        return []

    def possible(self, state: State, act: Act) -> bool:
        """Whether an act may happen."""
        rail, number = self.railway, act.number
        match act.kind:
            case "request":
                return self.granted(state, rail.routes[number])
            case "cancel":
                return state.stages[number] == SET and all(
                    state.stages[other] == IDLE for other in self.needed_by.get(number, ())
                )
            case "drive arrives":
                return act.name in state.moving
            case "signal clears":
                route = rail.routes[number]
                lies = all(
                    state.drives[d] == p
                    and (d not in state.moving or "drives arrive in time" in self.dropped)
                    for d, p in route.needs.items()
                )
                return (
                    state.stages[number] == SET
                    and state.signals[route.start] == STOP_ASPECT
                    and lies
                    and all(self.clear(state, s) for s in route.clear)
                )
            case "time runs out":
                return isinstance(state.signals[act.name], PutBack)
            case "released by time":
                shows = state.signals[rail.routes[number].start]
                if state.stages[number] != CLOSING:
                    return False
                return "in the time allowed" in self.dropped or shows not in (
                    number,
                    PutBack(number),
                )
            case "section released":
                route = rail.routes[number]
                place = route.sections.index(act.name)
                return (
                    rail.released_by_section(route)
                    and state.held.get(act.name) == number
                    and self.beyond(state, route, act.name)
                    and self.clear(state, act.name)
                    and (place == 0 or state.held.get(route.sections[place - 1]) != number)
                )
            case "route released":
                route = rail.routes[number]
                return self.arrived(state, route)
            case "moves":
                return self.can_move(state, state.trains[number])
            case "tail leaves":
                train = state.trains[number]
                return bool(train.coming_from) or len(train.body) > 1 or train.leaving
            case "turns back":
                return self.can_turn(state, number)
            case "comes in":
                return self._may_come_in(state, act.name)
            case "passes at the edge":
                signal = rail.read_at[EDGE, act.name]
                return (
                    len(state.trains) < self.most_trains
                    and self._wholly_in(state, act.name)
                    and self.can_pass(state, signal)[0]
                )
            case "put down":
                return self._may_be_put(state, act)
            case "stands":
                return self._may_stand(state, act.name)
            case "taken off":
                return act.name in state.standing
            case "uncoupled":
                return self._may_uncouple(state, number)
            case "ready to leave":
                return self._may_leave(state, act.name, number)
            case "drive slips":
                return act.name not in state.moving
        return False

    def _wholly_in(self, state: State, edge: str) -> bool:
        return "one at a time from an edge" in self.dropped or not any(
            train.coming_from == edge for train in state.trains.values()
        )

    def _may_come_in(self, state: State, edge: str) -> bool:
        if len(state.trains) >= self.most_trains:
            return False
        approach = self.railway.approach.get(edge)
        if approach is None:
            return not self.occupied_element(state, self.railway.beyond[EDGE, edge][0])
        sections = {self.railway.section_of[element] for element in approach}
        return bool(approach) and (
            ("edges ask for clear track" in self.dropped
             or not any(self.occupied(state, s) for s in sections))
            and ("edges ask for what is held" in self.dropped
                 or not any(s in state.held for s in sections))
            and ("edges ask for overlaps" in self.dropped
                 or not any(self.overlap_in(state, s) for s in sections))
            and self._wholly_in(state, edge)
            and not self.occupied_element(state, approach[0])
        )  # fmt: skip

    def occupied_element(self, state: State, element: str) -> bool:
        return element in state.standing or any(
            way.element == element for t in state.trains.values() for way in t.body
        )

    def _may_stand(self, state: State, element: str) -> bool:
        """Whether vehicles may be put down on an element."""
        rail, dropped = self.railway, self.dropped
        section = rail.section_of[element]
        moving = any(element in rail.on_drive[drive] for drive in state.moving)
        clear = not self.occupied_element(state, element) and not any(
            rail.section_of[way.element] == section
            for train in state.trains.values()
            for way in train.body
        )
        return (
            ("stand on clear track" in dropped or clear)
            and ("stand where nothing is held" in dropped or section not in state.held)
            and ("stand outside overlaps" in dropped or not self.overlap_in(state, section))
            and ("stand where nothing comes in" in dropped or not self._coming_to(state, element))
            and ("stand while no points move" in dropped or not moving)
        )

    def _coming_to(self, state: State, element: str) -> bool:
        """Whether a train on its way in from an edge will come to an element, or to another
        of its section, before it reads a signal."""
        of = self.railway.section_of
        return any(
            self.front_on(state, before, approach)
            for approach in self.railway.approach.values()
            for place, other in enumerate(approach)
            if of[other] == of[element]
            for before in approach[:place]
            if before != element
        )

    def _may_uncouple(self, state: State, number: int) -> bool:
        """Whether the last vehicles of a train may be left standing: its front only where its
        route ends, or where it has none."""
        train = state.trains[number]
        if train.coming_from:
            return False
        if len(train.body) > 1 or train.leaving:
            return True
        return all(
            stage.train != number or self.ends_here(route, stage)
            for route, stage in self.under_way(state)
        )

    def _may_leave(self, state: State, signal: str, count: int) -> bool:
        """Whether vehicles before a signal, on so many elements, may become a train: in a
        section that is held for no route, or for one that ends there."""
        rail = self.railway
        section = rail.section_of.get(rail.signals[signal][0][0], "")
        holder = state.held.get(section)
        if holder is not None and rail.routes[holder].sections[-1] != section:
            return False
        there = len(self._standing_before(state, signal)) >= count > 0
        return there and len(state.trains) < self.most_trains

    def _standing_before(self, state: State, signal: str) -> tuple[Way, ...]:
        """The ways up to a signal, as the drives lie, on which vehicles stand in its section."""
        rail = self.railway
        end, found = rail.signals[signal][0], list[Way]()
        section = rail.section_of.get(end[0])  # none of a signal at an edge
        while end[0] in state.standing and rail.section_of[end[0]] == section:
            way = self._leading_to(state, end)
            if way is None or any(other.element == way.element for other in found):
                break
            found.append(way)
            if (way.element, way.entry) in rail.read_at:
                break
            end = rail.beyond[way.element, way.entry]
            if end in rail.read_at:
                break
        return tuple(reversed(found))

    def _leading_to(self, state: State, end: End) -> Way | None:
        """The way over an element that leads to a leg, as the drives lie."""
        return next(
            (
                way
                for (name, _), ways in self.railway.ways.items()
                if name == end[0]
                for way, lies in ways
                if way.exit == end[1] and all(self.lies(state, d, p) for d, p in lies)
            ),
            None,
        )

    def _may_be_put(self, state: State, act: Act) -> bool:
        if len(state.trains) >= self.most_trains:
            return False
        element = act.name if act.number == 0 else self.railway.signals[act.name][0][0]
        section = self.railway.section_of[element]
        return (
            not self.occupied_element(state, element)
            and ("put down on clear track" in self.dropped or not self.occupied(state, section))
            and ("put down where nothing is held" in self.dropped or section not in state.held)
            and ("put down outside overlaps" in self.dropped or not self.overlap_in(state, section))
            and (
                "put down where nothing comes in" in self.dropped
                or not self.coming_towards(state, section)
            )
        )

    def after(self, state: State, act: Act) -> State:
        """What becomes of a state by an act that may happen."""
        then, number = state.copy(), act.number
        rail = self.railway
        match act.kind:
            case "request":
                route = rail.routes[number]
                then.stages[number] = SET
                then.held.update(dict.fromkeys(route.sections, number))
                for drive, position in route.needs.items():
                    if then.drives[drive] != position:
                        then.drives[drive] = position
                        then.moving.add(drive)
            case "cancel":
                start = rail.routes[number].start
                if then.signals[start] == number:
                    then.signals[start] = PutBack(number)
                    then.stages[number] = CLOSING
                else:
                    self._release(then, number)
            case "drive arrives":
                then.moving.discard(act.name)
            case "signal clears":
                then.signals[rail.routes[number].start] = number
            case "time runs out":
                then.signals[act.name] = STOP_ASPECT
            case "released by time" | "route released":
                self._release(then, number)
            case "section released":
                del then.held[act.name]
            case "moves":
                self._move(then, number)
            case "tail leaves":
                self._tail_leaves(then, number)
            case "turns back":
                train = then.trains[number]
                body = tuple(Way(w.element, w.exit, w.entry) for w in reversed(train.body))
                then.trains[number] = Train(body)
                for route, stage in list(self.under_way(then)):
                    if stage.train == number and stage.place < len(route.ways):
                        then.stages[route.number] = Stage("way", number, len(route.ways) - 1)
            case "comes in":
                element, entry = rail.beyond[EDGE, act.name]
                way = rail.ways[element, entry][0][0]
                then.trains[self._free_number(then)] = Train((way,), act.name)
            case "passes at the edge":
                self._pass_at_edge(then, act.name)
            case "put down":
                if number == 0:
                    way = Way(act.name, "left", "right")
                else:
                    way = self._ways_before(act.name)[0]
                section = rail.section_of[way.element]
                if self.occupied(then, section):
                    then.accident = "meetings", f"a train is put into another in {section}"
                then.trains[self._free_number(then)] = Train((way,))
            case "stands":
                if self.occupied_element(then, act.name):
                    then.accident = "meetings", f"vehicles are put into others on {act.name}"
                then.standing |= {act.name}
            case "taken off":
                then.standing -= {act.name}
                if "vehicles stand" in self.dropped:
                    self._roll_on(then, act.name)
            case "uncoupled":
                then.standing |= {then.trains[number].body[0].element}
                self._tail_leaves(then, number)
            case "ready to leave":
                body = self._standing_before(then, act.name)[-number:]
                then.standing -= {way.element for way in body}
                then.trains[self._free_number(then)] = Train(body)
            case "drive slips":
                others = [p for p in rail.drives[act.name] if p != then.drives[act.name]]
                then.drives[act.name] = others[0]
        if then.accident is None:
            then.accident = self._under_a_train(then)
        return then

    def _roll_on(self, state: State, element: str) -> None:
        """Vehicles that stood on an element roll on to the next one."""
        rail = self.railway
        ends = [
            rail.beyond[element, way.exit]
            for (name, _), ways in rail.ways.items()
            if name == element
            for way, _ in ways
        ]
        beyond = next((end[0] for end in ends if end in rail.ways), element)
        if self.occupied_element(state, beyond):
            state.accident = "meetings", f"vehicles roll into others on {beyond}"
        state.standing |= {beyond}

    def _under_a_train(self, state: State) -> tuple[str, str] | None:
        if state.moving:
            under = {way.element for train in state.trains.values() for way in train.body}
            under |= state.standing
            for drive in state.moving:
                if not under.isdisjoint(self.railway.on_drive[drive]):
                    return "drives", f"{drive} moves under a train"
        return None

    def _release(self, state: State, number: int) -> None:
        state.stages[number] = IDLE
        state.held = {s: holder for s, holder in state.held.items() if holder != number}

    def _free_number(self, state: State) -> int:
        taken = {*state.trains, *(stage.train for stage in state.stages)}
        return next(n for n in range(len(taken) + 1) if n not in taken)

    def _tail_leaves(self, state: State, number: int) -> None:
        train = state.trains[number]
        if train.coming_from:
            state.trains[number] = train._replace(coming_from="")
        elif len(train.body) > 1:
            state.trains[number] = train._replace(body=train.body[1:])
        else:
            del state.trains[number]

    def _pass_at_edge(self, state: State, edge: str) -> None:
        number = self._free_number(state)
        signal = self.railway.read_at[EDGE, edge]
        self._pass(state, signal, number)
        # Of a train that is wholly outside nothing is seen before it comes in.
        self._enter(state, number, None, self.railway.beyond[EDGE, edge], edge)

    def _pass(self, state: State, signal: str, number: int) -> None:
        """A train passes a signal, and is from then on under way for what it showed."""
        _, route = self.can_pass(state, signal)
        state.signals[signal] = STOP_ASPECT
        for ending, stage in self.under_way(state):
            # Of a train that was left standing there, those vehicles go on that are ready.
            its = stage.train == number or stage.train not in state.trains
            if its and ending.at_signal and ending.end == signal:
                state.stages[ending.number] = Stage("way", number, len(ending.ways))
        if route is not None and state.stages[route.number] in (SET, CLOSING):
            state.stages[route.number] = Stage("way", number, -1)

    def _ways_before(self, signal: str) -> list[Way]:
        """Ways without drives on which a train can stand before a signal."""
        element, exit_ = self.railway.signals[signal][0]
        return [
            way
            for (name, _), ways in self.railway.ways.items()
            for way, lies in ways
            if name == element and way.exit == exit_ and not lies
        ]

    def _move(self, state: State, number: int) -> None:
        train = state.trains[number]
        front = train.body[-1]
        end = (front.element, front.exit)
        signal = self.railway.read_at.get(end)
        if signal is not None:
            self._pass(state, signal, number)
        beyond = self.railway.beyond[end]
        if beyond[0] == EDGE:
            state.trains[number] = train._replace(leaving=True)
            return
        self._enter(state, number, train, beyond, "")

    def _enter(self, state: State, number: int, train: Train | None, leg: End, edge: str) -> None:
        """A front comes into the element beyond a joint."""
        rail = self.railway
        element, section = leg[0], rail.section_of[leg[0]]
        mine = train.body if train is not None else ()
        inside = bool(mine) and rail.section_of[mine[-1].element] == section
        standing = [
            other
            for other, its in state.trains.items()
            for way in its.body
            if way.element == element
            or (not inside and rail.section_of[way.element] == section)
        ]  # fmt: skip
        called = self._called_on(state, number, element) or self._draws_up(state, mine, leg)
        if element in state.standing or (
            not inside and any(rail.section_of[e] == section for e in state.standing)
        ):
            if not called:
                state.accident = "meetings", f"a train runs into vehicles in {section} ({element})"
                return
            # It is coupled to those that it comes to.
            state.standing -= {element}
        if standing:
            on_it = [o for o in standing if self._is_on(state, o, element)]
            if not called:
                state.accident = "meetings", f"a train runs into {section} ({element})"
                return
            if on_it[:1] == [number] and not self._called_on(state, number, element):
                state.accident = "meetings", f"a train runs into itself in {element}"
                return
            if on_it:
                self._join(state, number, on_it[0], mine, leg, edge)
                return
        ways = [
            way
            for way, lies in rail.ways[leg]
            if all(self.lies(state, drive, position) for drive, position in lies)
        ]
        if not ways:
            state.accident = "derailments", f"a train comes off the rails in {element}"
            return
        coming_from = train.coming_from if train is not None else edge
        state.trains[number] = Train((*mine, ways[0]), coming_from)
        for route, stage in self.under_way(state):
            following = _next(route, stage)
            # It has come to the next element of its route, wherever its drives lead it from there.
            if stage.train == number and following is not None and following[:2] == ways[0][:2]:
                state.stages[route.number] = stage._replace(place=stage.place + 1)

    def _is_on(self, state: State, number: int, element: str) -> bool:
        return any(way.element == element for way in state.trains[number].body)

    def _draws_up(self, state: State, mine: tuple[Way, ...], leg: End) -> bool:
        """Whether a front goes on within a section in which another train is: it was called
        on into it, and no signal stands between."""
        rail = self.railway
        if not mine or rail.section_of[mine[-1].element] != rail.section_of[leg[0]]:
            return False
        return not {(mine[-1].element, mine[-1].exit), leg} & rail.read_at.keys()

    def _called_on(self, state: State, number: int, element: str) -> bool:
        """Whether a train comes by a calling-on route into its berth at this element."""
        for route, stage in self.under_way(state):
            following = _next(route, stage)
            if (
                route.calling_on
                and stage.train == number
                and following is not None
                and following.element == element
                and route.along[stage.place + 1] == route.sections[-1]
            ):
                return True
        return False

    def _join(
        self, state: State, number: int, other: int, mine: tuple[Way, ...], leg: End, edge: str
    ) -> None:
        """A train that is called on draws up to the one in the berth: they move as one."""
        its = state.trains[other]
        if other == number:
            return  # it has come round to its own tail, and stops short of it
        nearest = its.body[0]
        body: tuple[Way, ...]
        if (nearest.element, nearest.entry) == leg:
            # Its tail is here: it stands in the same direction.
            if its.coming_from:
                state.accident = "meetings", f"a train runs into one that comes in, {leg[0]}"
                return
            body, leaving = (*mine, *its.body), its.leaving
        elif (its.body[-1].element, its.body[-1].exit) == leg and not its.leaving:
            of = self.railway.section_of
            section = of[leg[0]]
            if its.coming_from or any(of[way.element] != section for way in its.body):
                whole = not any(of[way.element] != section for way in mine)
                if whole and self._is_called_on(state, other, section):
                    # That one was called on to it, and it moves towards it meanwhile.
                    turned = tuple(Way(w.element, w.exit, w.entry) for w in reversed(mine))
                    self._couple(state, other, number, (*its.body, *turned), its.coming_from, False)
                    return
                state.accident = "meetings", f"a train runs into one that comes, in {leg[0]}"
                return
            turned = tuple(Way(w.element, w.exit, w.entry) for w in reversed(its.body))
            body, leaving = (*mine, *turned), False
        else:
            state.accident = "meetings", f"a train runs into the middle of one in {leg[0]}"
            return
        train = state.trains.get(number)
        coming_from = train.coming_from if train is not None else edge
        self._couple(state, number, other, body, coming_from, leaving)

    def _is_called_on(self, state: State, number: int, section: str) -> bool:
        """Whether a train has come into a berth by a calling-on route that has not ended."""
        return any(
            stage.train == number
            and route.calling_on
            and route.sections[-1] == section
            and route.along[max(stage.place, 0)] == section
            for route, stage in self.under_way(state)
        )

    def _couple(
        self,
        state: State,
        number: int,
        other: int,
        body: tuple[Way, ...],
        coming_from: str,
        leaving: bool,
    ) -> None:
        """Two trains are one from now on, by the number of the one that was called on."""
        del state.trains[other]
        state.trains[number] = Train(body, coming_from, leaving)
        for route, stage in list(self.under_way(state)):
            if stage.train == other:
                state.stages[route.number] = stage._replace(train=number)
            elif stage.train == number and stage.place + 1 < len(route.ways):
                # As far as its route has led what is one train now.
                front = body[-1]
                place = route.ways.index(front) if front in route.ways else len(route.ways) - 1
                state.stages[route.number] = stage._replace(place=place)


def _next(route: PlainRoute, stage: Stage) -> Way | None:
    """The way that the front of a route's train comes to next."""
    place = stage.place + 1
    return route.ways[place] if place < len(route.ways) else None
