"""Detectors, and who uses which of their inputs.

Where a line names only a kind of detector, it gets the next free input, as drives and signals get
outputs: inputs that are stated are kept for those who state them, the others are given out in the
order of the text, and a detector is added only when those above are used up.
"""

from __future__ import annotations

import re
from collections import defaultdict, deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from bellcrank.diagnostics import Noun, Span
from bellcrank.hardware.addresses import INPUT_NUMBERS
from bellcrank.layout.addressing import NOWHERE, Sort, choose_addresses, enter
from bellcrank.layout.declared_below import DeclaredBelow
from bellcrank.layout.declared_names import Names
from bellcrank.layout.detectors import Detector, DetectorInput, DetectorKind, Input, NamedInput
from bellcrank.layout.kinds import DETECTOR_KIND, build_detector_kinds
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

DETECTOR = Noun("a", "detector")

INPUT = Noun("an", "input")

DETECTORS = Sort(DETECTOR, DETECTOR_KIND, "input", INPUT_NUMBERS[-1], Detector)

Line = t.DetectorLine | t.ReportLine | t.ButtonLine


@dataclass(slots=True)
class Board:
    """The detectors by name, and what uses each input.

    kinds: the kinds of detector, None for one that is not described soundly.
    allotted: the inputs given to whom only a kind is named for, by the place where it is.
    stated: inputs that lines name themselves, whichever these are.
    """

    names: Names
    kinds: Mapping[str, DetectorKind | None]
    detectors: dict[str, Detector]
    allotted: dict[Span, DetectorInput] = field(default_factory=dict)
    users: dict[Input, tuple[str, Span]] = field(default_factory=dict)
    stated: frozenset[DetectorInput] = frozenset()

    def take(self, user: str, inlet: t.Inlet) -> Input | None:
        """The input that is named, for one user alone; None with the reason reported."""
        found = self._resolve(inlet)
        if found is None:
            return None
        other, span = self.users.setdefault(found, (user, inlet.span))
        if span == inlet.span:
            return found
        self.names.found.report(
            "E461",
            f"{found} is used twice: for {other} and for {user}",
            inlet.span,
            expected="an input that tells of one thing only",
            hint=self._free(found),
            related=[(span, f"it is used for {other} here")],
        )
        return None

    def _resolve(self, inlet: t.Inlet) -> Input | None:
        match inlet:
            case t.NamedInput():
                return self._named(inlet)
            case t.FreeInput():
                if inlet.kind.text not in self.kinds:
                    self._report_no_kind(inlet)
                return self.allotted.get(inlet.span)
            case t.Input():
                return self._stated(inlet)

    def _named(self, inlet: t.NamedInput) -> NamedInput | None:
        if inlet.text.text.strip():
            return NamedInput(inlet.text.text)
        self.names.found.report(
            "E460",
            "this input has no name",
            inlet.span,
            expected='a name of your own, such as "rail/t1", or an input such as B1.1',
        )
        return None

    def _report_no_kind(self, inlet: t.FreeInput) -> None:
        detector = self.detectors.get(inlet.kind.text)
        if detector is None:
            near = self.names.found.did_you_mean(inlet.kind.text, self.kinds)
            hint = near or f'put it in double quotes if it is a name of your own: "{inlet}"'
            self.names.unknown(inlet.kind, DETECTOR_KIND, self.kinds, hint)
            return
        last = detector.kind.inputs
        self.names.found.report(
            "E460",
            f"{detector.name} is a detector; which of its inputs is meant is not said",
            inlet.span,
            expected=f"an input from {detector.name}.1 to {detector.name}.{last}"
            if last > 1
            else f"{detector.name}.1, its only input",
            hint=f"`{detector.kind.name}` would take the next free input of that kind",
        )

    def _stated(self, inlet: t.Input) -> DetectorInput | None:
        name = inlet.detector.text
        detector = self.detectors.get(name)
        if detector is None:
            hint = f"`{name}` alone takes the next free input of that kind"
            self.names.unknown(
                inlet.detector, DETECTOR, self.detectors, hint if name in self.kinds else None
            )
            return None
        count = detector.kind.inputs
        text = inlet.number.text
        if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= count):
            self.names.found.report(
                "E460",
                f"{name} has no input {text}",
                inlet.number.span,
                expected=f"an input from 1 to {count}"
                if count > 1
                else f"{name}.1, its only input",
                hint=self._free(DetectorInput(name, 1)),
            )
            return None
        return DetectorInput(name, int(text))

    def _free(self, near: Input) -> str | None:
        if isinstance(near, NamedInput):
            return "give one of the two another name"
        taken = {*self.users, *self.allotted.values(), *self.stated}
        order = sorted(self.detectors.values(), key=lambda d: d.name != near.detector)
        for detector in order:
            for number in range(1, detector.kind.inputs + 1):
                if DetectorInput(detector.name, number) not in taken:
                    return f"{detector.name}.{number} is free"
        return None


def build_board(program: Program, names: Names, barred: Iterable[str]) -> Board:
    """The detectors, each with an address that was stated or chosen, and inputs for those that
    name only a kind.

    barred: names that things will have which are not in the list of names yet.
    """
    kinds = build_detector_kinds(program.of(t.DetectorKindLine), names)
    detectors = enter(program.of(t.DetectorLine), kinds, DETECTORS, names)
    board = Board(names, kinds, detectors)
    _allot(program.of((t.DetectorLine, t.ReportLine, t.ButtonLine)), board, frozenset(barred))
    choose_addresses(board.detectors, DETECTORS, names.found)
    return board


def _allot(lines: list[Line], board: Board, barred: frozenset[str]) -> None:
    inlets = [line.inlet for line in lines if not isinstance(line, t.DetectorLine)]
    stated = {
        DetectorInput(inlet.detector.text, int(inlet.number.text))
        for inlet in inlets
        if isinstance(inlet, t.Input) and re.fullmatch("[0-9]{1,9}", inlet.number.text)
    }
    board.stated = frozenset(stated)
    free: dict[str, deque[DetectorInput]] = defaultdict(deque)
    order: dict[str, Detector] = {}
    added: dict[str, int] = defaultdict(int)
    below = DeclaredBelow(DETECTOR, INPUT)

    def left_of(detector: Detector) -> list[DetectorInput]:
        inputs = (DetectorInput(detector.name, n) for n in range(1, detector.kind.inputs + 1))
        return [i for i in inputs if i not in stated]

    def put(detector: Detector) -> None:
        order[detector.name] = detector
        below.come_to(detector.kind.name, detector.name)
        free[detector.kind.name].extend(left_of(detector))

    for detector in board.detectors.values():
        if left_of(detector):
            _, place = board.names.bearers[detector.name]
            below.declared(detector.kind.name, detector.name, place)

    for line in lines:
        if isinstance(line, t.DetectorLine):
            known = board.detectors.get(line.name.text)
            if known is not None and line.name.text not in order:
                put(known)
        elif isinstance(line.inlet, t.FreeInput):
            kind = board.kinds.get(line.inlet.kind.text)
            if kind is None:
                continue
            while not free[kind.name]:
                added[kind.name] += 1
                more = _added(kind, added[kind.name], line.inlet, board, barred)
                below.added(kind.name, more.name, line.inlet.span, board.names.found)
                put(more)
            board.allotted[line.inlet.span] = free[kind.name].popleft()
    # Addresses are chosen in this order, so those added have their place by their line.
    board.detectors = order


def _added(
    kind: DetectorKind, number: int, inlet: t.FreeInput, board: Board, barred: frozenset[str]
) -> Detector:
    """One more detector of a kind, with a name that nothing bears."""
    name = f"{kind.name}_{number}"
    while name in board.names.bearers or name in barred:
        number += 1
        name = f"{kind.name}_{number}"
    board.names.claim(t.Word(inlet.span, name), DETECTOR)
    return Detector(name, kind, NOWHERE, inlet.span, assigned=True)
