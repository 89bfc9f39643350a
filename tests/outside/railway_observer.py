"""An observer beside the simulated railway, written from the language reference alone.

It sees what somebody with a camera would: how each train lies, element by element, how drives lie,
what signals show, what is reported, and what people do. It knows the track from the JSON document
and shares no code with the railway. From that it says what cannot be on a railway, and what breaks
an assumption of the reference, "What it assumes":

- physics: vehicles lie on ways that the drives make, joint by joint; they keep their length, are
  neither made nor lost but at edges and by hand, do not jump, and start and stop as trains do; no
  two are in one place;
- reports in time: a section is said occupied before a front leaves it and before a tail comes into
  it, at once where a train comes in at an edge without a signal or is put down; never while nothing
  is there; and no report is later than the layout states. Drives arrive in time, and move only when
  thrown, never under a train;
- signals obeyed: one at stop is passed only by a train that could not stop any more;
- next train waits: one that was passed is at stop to the next train until it is off anew;
- vehicles stand, put on clear track, edges ask first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from clocked_track import EDGE, Track

STARTS, STOPS = 0.3, 1.3
"""Metres in a second squared beyond which no train starts, or brakes."""

FASTEST = 4.0
"""Metres in a second beyond which no train runs."""

DRAWS_UP = 0.05
"""Metres that one which draws up to another may go between two looks."""

SPAN = 0.02
"""Seconds that are enough to say how fast a train goes."""

CLOSE = 5e-4
"""Metres within which two places are the same."""


class Piece(Protocol):
    element: str
    entry: str
    exit: str
    begin: float
    end: float
    of: float


class Lies(Protocol):
    """How a train lies."""

    pieces: Any
    tail_outside: bool
    front_outside: bool
    accident: bool


@dataclass(frozen=True)
class Times:
    """Milliseconds that are stated, by section and by drive."""

    report: Callable[[str], float]
    drive: Callable[[str], float]


@dataclass
class _Section:
    said: bool = False
    truth: bool = False
    since: float = 0.0


@dataclass
class _Drive:
    lies: str | None
    thrown_at: float | None = None


@dataclass
class _Signal:
    off: bool = False
    passed: bool = False
    spared: set[int] = field(default_factory=set)


@dataclass
class Observer:
    """wrong: what cannot be, or may not be, in sentences. looks: how often it has looked; seen: how
    much of what it is there for it has seen."""

    track: Track
    times: Times
    wrong: list[str] = field(default_factory=list)
    looks: int = 0
    seen: dict[str, int] = field(default_factory=dict)
    now: float = 0.0
    trains: dict[int, Lies] = field(default_factory=dict)
    speeds: dict[int, tuple[float, float]] = field(default_factory=dict)
    sections: dict[str, _Section] = field(default_factory=dict)
    drives: dict[str, _Drive] = field(default_factory=dict)
    signals: dict[str, _Signal] = field(default_factory=dict)
    lengths: dict[str, float] = field(default_factory=dict)
    pending: dict[int, tuple[float, float]] = field(default_factory=dict)
    acted: str = ""
    grown: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.sections = {s: _Section() for s in self.track.elements_of}
        self.drives = {d: _Drive(positions[0]) for d, positions in self.track.drives.items()}
        self.signals = {s: _Signal() for s in self.track.signals}

    def say(self, text: str) -> None:
        self.wrong.append(f"{self.now / 1000:.3f}  {text}")

    def count(self, what: str) -> None:
        self.seen[what] = self.seen.get(what, 0) + 1

    # ------------------------------------------------------------------ what it is told

    def shows(self, signal: str, off: bool) -> None:
        """A signal shows something else than before. To be told after a look at that moment."""
        state = self.signals[signal]
        if state.off and not off:
            for number, lies in self.trains.items():
                speed = self.speeds.get(number, (0.0, 0.0))[0]
                distance = self._to_signal(lies, signal)
                if distance is not None and distance <= speed * speed / (2 * STOPS) + 0.1 * speed:
                    state.spared.add(number)
        state.off, state.passed = off, False
        if off:
            state.spared.clear()

    def _to_signal(self, lies: Lies, signal: str) -> float | None:
        """How far a front is from a signal at the end of its element; None if there is none."""
        piece = lies.pieces[-1]
        element, leg = self.track.signals[signal]
        if (piece.element, piece.exit) == (element, leg):
            return float(piece.of - piece.end)
        # Up to one joint on, which is more than a train needs to stop.
        end = self.track.beyond.get((piece.element, piece.exit))
        for way, _ in self.track.ways.get(end, []) if end else []:
            if (way.element, way.exit) == (element, leg):
                return float(piece.of - piece.end + self.lengths.get(way.element, 0.0))
        return None

    def thrown(self, drive: str, position: str) -> None:
        state = self.drives[drive]
        state.thrown_at = self.now
        state.lies = position

    def reported(self, kind: str, of: str, value: str) -> None:
        """A report comes. To be told after a look at that moment."""
        self.count("reports")
        if kind == "lies":
            if value and value != self.drives[of].lies:
                self.say(f"drive {of} says {value}, and was not thrown there")
            return
        section = self.sections[of]
        if section.truth != (kind == "occupied"):
            self.say(f"{of} is reported {kind} and is not")
        section.said = kind == "occupied"

    # ------------------------------------------------------------------------- looks

    def look(
        self, now: float, trains: Mapping[int, Lies], lies: Callable[[str], str | None]
    ) -> None:
        """See how all lies at a moment."""
        seconds = (now - self.now) / 1000
        self.now = now
        self.looks += 1
        for number, train in trains.items():
            self._shape(number, train, lies)
        self._places(trains)
        self._changes(trains, seconds)
        self._drives(lies)
        self.trains = dict(trains)
        self._truth()

    def finish_look(self) -> None:
        """All reports of that moment have been told."""
        for number, train in self.trains.items():
            self._reported_in_time(number, train)
        for name, section in self.sections.items():
            if name not in self.track.detected or section.said == section.truth:
                continue
            late = self.now - section.since
            if late > self.times.report(name) + 1:
                self.say(f"{name} was not reported within its time ({late:.0f} ms)")

    def _shape(self, number: int, train: Lies, lies: Callable[[str], str | None]) -> None:
        """On ways that drives make, joint by joint."""
        name = f"train {number}"
        for k, piece in enumerate(train.pieces):
            known = self.lengths.setdefault(piece.element, piece.of)
            if abs(known - piece.of) > CLOSE:
                self.say(f"{piece.element} has changed its length")
            if not -CLOSE <= piece.begin <= piece.end + CLOSE <= piece.of + 2 * CLOSE:
                self.say(f"{name} lies beyond {piece.element}")
            if k and piece.begin > CLOSE:
                self.say(f"{name} has a gap in {piece.element}")
            if k < len(train.pieces) - 1 and piece.end < piece.of - CLOSE:
                self.say(f"{name} has a gap in {piece.element}")
            found = [
                drives
                for way, drives in self.track.ways[piece.element, piece.entry]
                if way.exit == piece.exit
            ]
            if not found:
                self.say(f"{name} lies in {piece.element} where no way is")
            elif not train.accident and not all(lies(d) == p for d, p in found[0]):
                self.say(f"{name} lies in {piece.element}, where points do not lie so")
        for one, two in zip(train.pieces, train.pieces[1:], strict=False):
            if self.track.beyond[one.element, one.exit] != (two.element, two.entry):
                self.say(f"{name} is in {one.element} and {two.element}, which are not joined")
        ends = train.pieces[0].element, train.pieces[0].entry
        if train.tail_outside and self.track.beyond[ends][0] != EDGE:
            self.say(f"{name} reaches outside where no edge is")
        ends = train.pieces[-1].element, train.pieces[-1].exit
        if train.front_outside and self.track.beyond[ends][0] != EDGE:
            self.say(f"{name} reaches outside where no edge is")

    def _places(self, trains: Mapping[int, Lies]) -> None:
        """No two in one place."""
        there: dict[str, list[tuple[int, Piece, bool]]] = {}
        for number, train in trains.items():
            for piece in train.pieces:
                if piece.end - piece.begin > CLOSE:
                    row = there.setdefault(piece.element, [])
                    row.append((number, piece, train.accident))
        for element, pieces in there.items():
            for k, (one, a, broken) in enumerate(pieces):
                for other, b, too in pieces[:k]:
                    if one == other or (broken and too):
                        continue
                    if {a.entry, a.exit} != {b.entry, b.exit}:
                        self.say(f"trains {other} and {one} meet in {element}")
                        continue
                    begin, end = a.begin, a.end
                    if a.entry != b.entry:
                        begin, end = a.of - a.end, a.of - a.begin
                    if min(end, b.end) - max(begin, b.begin) > CLOSE:
                        self.say(f"trains {other} and {one} are in one place in {element}")

    def _changes(self, trains: Mapping[int, Lies], seconds: float) -> None:
        """From one look to the next trains move, or somebody does something with them."""
        before = self.trains
        self._joined_or_divided(trains)
        for number in before.keys() | trains.keys():
            old, new = before.get(number), trains.get(number)
            if old is not None and new is not None:
                self._moves(number, old, new, seconds)
            elif new is not None:
                self._appears(number, new)
            elif old is not None:
                self._goes(number, old)
                self._forget_speed(number)
        self.acted = ""

    def _joined_or_divided(self, trains: Mapping[int, Lies]) -> None:
        """Which trains have grown by all of one that is gone, or have lost what another is now."""
        self.grown.clear()
        metres = {n: _metres(t) for n, t in trains.items()}
        old = {n: _metres(t) for n, t in self.trains.items()}
        for part in self.trains.keys() - trains.keys():
            if self.trains[part].front_outside:
                continue  # it has left
            for whole in self.trains.keys() & trains.keys():
                if abs(metres[whole] - old[whole] - old[part]) < CLOSE and not _same(
                    trains[whole], self.trains[whole]
                ):
                    self.grown[part] = self.grown[whole] = whole
                    self.count("coupled by themselves" if not self.acted else "coupled by hand")
                    if not self._touch(self.trains[whole], self.trains[part], DRAWS_UP):
                        self.say(f"trains {whole} and {part} are coupled and do not touch")
        if self.acted not in ("divided", "parts"):
            return
        for part in trains.keys() - self.trains.keys():
            for whole in self.trains.keys() & trains.keys():
                if abs(metres[whole] + metres[part] - old[whole]) < CLOSE:
                    self.grown[part] = self.grown[whole] = whole
                    if not self._touch(trains[whole], trains[part], CLOSE):
                        self.say(f"trains {whole} and {part} were one and do not touch")

    def _touch(self, one: Lies, other: Lies, within: float) -> bool:
        """Whether an end of one is where an end of the other is, within some metres."""
        return any(self._near(a, b, within) for a in _ends(one) for b in _ends(other))

    def _near(self, a: tuple[str, str, float], b: tuple[str, str, float], within: float) -> bool:
        """Ends, each as the leg to which it looks and the metres up to there."""
        (element, leg, far), (other, leg2, far2) = a, b
        if element == other and leg != leg2:
            return abs(self.lengths[element] - far - far2) < within
        joined = self.track.beyond.get((element, leg)) == (other, leg2)
        return joined and far + far2 < within

    def _appears(self, number: int, new: Lies) -> None:
        self.count("appeared")
        if number in self.grown or self.acted == "put":
            return
        first = new.pieces[0]
        at_edge = self.track.beyond[first.element, first.entry][0] == EDGE
        if not at_edge or not new.tail_outside or _metres(new) > CLOSE:
            self.say(f"train {number} comes from nowhere in {first.element}")
        signal = self.track.read_at.get(self.track.beyond[first.element, first.entry])
        if signal is not None:
            self._passes(number, signal)

    def _goes(self, number: int, old: Lies) -> None:
        self.count("gone")
        if number in self.grown or self.acted == "taken off":
            return
        if not old.front_outside or _metres(old) > 0.2:
            self.say(f"train {number} goes to nowhere in {old.pieces[-1].element}")

    def _moves(self, number: int, old: Lies, new: Lies, seconds: float) -> None:
        name = f"train {number}"
        if number in self.grown:
            self._forget_speed(number)
            return
        moved = _moved(old, new)
        if moved is None and self.acted in ("turned", "picked up"):
            turned = [(p.element, p.exit, p.entry, p.of - p.end, p.of - p.begin)
                      for p in reversed(old.pieces)]  # fmt: skip
            same = all(
                (t[:3] == (p.element, p.entry, p.exit) and abs(t[3] - p.begin) < CLOSE)
                for t, p in zip(turned, new.pieces, strict=False)
            )
            if not same or len(turned) != len(new.pieces):
                self.say(f"{name} jumps where it turns back")
            self._forget_speed(number)
            return
        if moved is None:
            self.say(f"{name} jumps from {old.pieces[-1].element} to {new.pieces[-1].element}")
            return
        front, tail = moved
        whole = not (old.tail_outside or new.front_outside or old.front_outside)
        if whole and abs(front - tail) > CLOSE:
            self.say(f"{name} changes its length by {front - tail:.3f} m")
        went = tail if new.front_outside else front
        if went < -CLOSE or went > FASTEST * seconds + CLOSE:
            self.say(f"{name} goes {went:.3f} m in {seconds:.3f} s")
        self._speed(name, number, went, seconds, new)
        self._joints(number, old, new)

    def _speed(self, name: str, number: int, went: float, seconds: float, new: Lies) -> None:
        """Mean speeds of two spans of time are no further apart than starting and braking let
        them be."""
        way, time = self.pending.pop(number, (0.0, 0.0))
        went, seconds = went + way, seconds + time
        if new.accident:
            return
        if seconds < SPAN:
            self.pending[number] = went, seconds
            return
        speed = went / seconds
        if number in self.speeds:
            before, lasted = self.speeds[number]
            time = (seconds + lasted) / 2
            if not -STOPS * time - 0.01 <= speed - before <= STARTS * time + 0.01:
                self.say(f"{name} goes {speed:.3f} m/s right after {before:.3f} m/s")
        self.speeds[number] = speed, seconds

    def _forget_speed(self, number: int) -> None:
        self.speeds.pop(number, None)
        self.pending.pop(number, None)

    def _joints(self, number: int, old: Lies, new: Lies) -> None:
        """Signals that a front has passed."""
        was = [(p.element, p.exit) for p in old.pieces]
        now = [(p.element, p.exit) for p in new.pieces]
        passed = now[now.index(was[-1]) :] if was[-1] in now else []
        passed = passed if new.front_outside and not old.front_outside else passed[:-1]
        for end in passed:
            if end in self.track.read_at:
                self._passes(number, self.track.read_at[end])

    def _passes(self, number: int, name: str) -> None:
        self.count("signals passed")
        signal = self.signals[name]
        if (not signal.off or signal.passed) and number not in signal.spared:
            self.say(f"train {number} passes {name}, which is at stop to it")
        signal.spared.discard(number)
        signal.passed = True

    def _drives(self, lies: Callable[[str], str | None]) -> None:
        for name, drive in self.drives.items():
            real = lies(name)
            if drive.thrown_at is None:
                if real != drive.lies:
                    self.say(f"drive {name} moves and was not thrown")
            elif real == drive.lies:
                drive.thrown_at = None
                self.count("drives arrived")
            elif real is not None:
                self.say(f"drive {name} lies {real}, where it was not thrown")
            elif self.now - drive.thrown_at > self.times.drive(name) + 1:
                self.say(f"drive {name} has not arrived in its time")

    # ------------------------------------------------------------------------ sections

    def _truth(self) -> None:
        occupied = {
            self.track.section_of[piece.element]
            for train in self.trains.values()
            for piece in train.pieces
        }
        for name, section in self.sections.items():
            if section.truth != (name in occupied):
                section.truth, section.since = name in occupied, self.now

    def _reported_in_time(self, number: int, train: Lies) -> None:
        """All but the section where the front is, and that too once the tail is in it."""
        under = list(dict.fromkeys(self.track.section_of[p.element] for p in train.pieces))
        tail_is_in = len(under) == 1 and not train.tail_outside
        for section in under:
            left = section != under[-1] or train.front_outside
            first = self.track.beyond[train.pieces[0].element, train.pieces[0].entry]
            unasked = train.tail_outside and first not in self.track.read_at
            if section not in self.track.detected or not (left or tail_is_in or unasked):
                continue
            if not self.sections[section].said:
                self.say(f"{section} is not reported occupied, though train {number} {under}")

    # -------------------------------------------------------------- what people do

    def does(self, what: str, train: int | None = None, elements: tuple[str, ...] = ()) -> None:
        """People do something. To be told before the look that shows it.

        elements: track that has to be clear for it.
        """
        self.acted = what
        self.count(what)
        for number, other in self.trains.items():
            on = {piece.element for piece in other.pieces}
            if number != train and on & set(elements):
                self.say(f"somebody {what} where train {number} is")
        if train is None or train not in self.trains:
            return
        lies = self.trains[train]
        if self.speeds.get(train, (0.0, 0.0))[0] > 0.02 and not lies.accident and what != "parts":
            self.say(f"train {train} is {what} while it moves")
        stretches = {self.track.stretch_of[piece.element] for piece in lies.pieces}
        if what in ("divided", "left", "turned", "picked up") and len(stretches) > 1:
            self.say(f"train {train} is {what} on more than one stretch")


def _metres(train: Lies) -> float:
    return sum(piece.end - piece.begin for piece in train.pieces)


def _same(one: Lies, other: Lies) -> bool:
    return bool(one.pieces == other.pieces)


def _ends(train: Lies) -> Iterator[tuple[str, str, float]]:
    """Both ends, each as the leg to which it looks and the metres up to there."""
    first, last = train.pieces[0], train.pieces[-1]
    yield first.element, first.entry, first.begin
    yield last.element, last.exit, last.of - last.end


def _moved(old: Lies, new: Lies) -> tuple[float, float] | None:
    """How far a front and a tail have gone on, if the train goes on along the track where it was;
    None if it does not."""
    was = [(p.element, p.entry, p.exit) for p in old.pieces]
    now = [(p.element, p.entry, p.exit) for p in new.pieces]
    for left in range(len(was)):
        common = was[left:]
        if now[: len(common)] == common:
            break
    else:
        return None
    back = sum(p.of for p in old.pieces[:left])
    length = sum(p.of for p in old.pieces[:-1])
    front = back + sum(p.of for p in new.pieces[:-1]) + new.pieces[-1].end
    tail = back + new.pieces[0].begin
    return front - (length + old.pieces[-1].end), tail - old.pieces[0].begin
