"""A railway that runs, with an observer beside it (`railway_observer.py`)."""

from __future__ import annotations

import random
from pathlib import Path

from clocked_documents import document_of
from clocked_track import Track
from headless import Headless
from railway_observer import Observer, Times
from sound_layouts import compiled, compiled_file

from bellcrank.layout.layout_model import Leg
from bellcrank.live.decisions import Doing, Show, Throw
from bellcrank.live.simulated_link import heard_of
from bellcrank.simulated.acts import (
    Act,
    Comes,
    Fault,
    IsCoupled,
    IsDivided,
    IsLeft,
    IsPickedUp,
    IsPut,
    IsTaken,
    Parts,
    TurnsBack,
)
from bellcrank.simulated.railway import SimulationError

WORDS = {
    IsPut: "put", TurnsBack: "turned", IsTaken: "taken off", IsDivided: "divided",
    IsLeft: "left", IsPickedUp: "picked up", IsCoupled: "coupled", Parts: "parts",
}  # fmt: skip


class Observed(Headless):
    """A railway that runs, with the observer beside it. put: the sections in which a train was put
    on the track."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.put: list[str] = []
        times = self.c.layout.times
        self.observer = Observer(
            Track(document_of(self.c), random.Random(0)),
            Times(times.section_report.of, times.drive.of),
        )

    def look_round(self) -> None:
        railway = self.railway
        self.observer.look(self.now, railway.lying(), railway.lies)

    def reports(self) -> None:
        self.look_round()
        for happened in self.railway.take_happened():
            self.note(happened.text)
        reports = self.railway.take_reports()
        for report in reports:
            self.observer.reported(report.kind, report.of, report.value)
        self.observer.finish_look()
        if reports:
            self.hear([heard_of(each, "track") for each in reports])

    def put_out(self, doing: Doing) -> None:
        if isinstance(doing, Show):
            stop = self.c.layout.signals[doing.signal].aspects[0].name
            self.observer.shows(doing.signal, doing.aspect != stop)
        elif isinstance(doing, Throw):
            self.observer.thrown(doing.drive, doing.position)
        super().put_out(doing)

    def step(self, until: float) -> None:
        super().step(min(until, self.now + 100))

    def act(self, act: Act | Fault) -> bool:
        try:
            self.railway.do(act)
        except SimulationError:
            return False
        if isinstance(act, IsPut):
            before = self.c.layout.signals[act.signal].before
            assert isinstance(before, Leg)
            self.put.append(self.c.layout.section_of[before.element])
        elements: tuple[str, ...] = ()
        if isinstance(act, Comes):
            elements = self.observer.track.approach.get(act.edge, ())
        number = getattr(act, "train", None)
        word = WORDS.get(type(act))
        if word is not None or elements:
            self.observer.does(word or "lets a train in", number, elements)
        self.reports()
        return True

    def watch(self, milliseconds: float) -> None:
        """Let it run, whatever comes of it, until the observer finds something wrong."""
        end = self.now + milliseconds
        while self.now < end and not self.observer.wrong:
            self.step(end)


def watched(text_or_file: str | Path, seed: int = 0) -> Observed:
    c = compiled_file(text_or_file) if isinstance(text_or_file, Path) else compiled(text_or_file)
    run = Observed(c, seed)
    run.start()
    return run
