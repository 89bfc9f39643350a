"""Detectors: which sections have vehicles on them, and what is reported of that, and when.

A section is reported occupied before a front leaves it and before a tail comes into it, and at once
when a train comes in at an edge; all else within the time that the layout states.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout
from bellcrank.simulated.agenda import Agenda
from bellcrank.simulated.news import News

SHARE = 0.6
"""Of the time that a report or a drive may take at most; it takes no longer here."""


@dataclass(slots=True)
class _Detector:
    """said: what it reported last. stuck: what it says whatever is so."""

    said: bool = False
    version: int = 0
    stuck: bool | None = None


class Detectors:
    """All sections, and the detectors of those that have one."""

    def __init__(self, layout: Layout, agenda: Agenda, news: News, rng: random.Random) -> None:
        self._layout = layout
        self._agenda = agenda
        self._news = news
        self._rng = rng
        self._in: dict[str, int] = dict.fromkeys(layout.sections, 0)
        self._detectors = {
            name: _Detector() for name, section in layout.sections.items() if section.detected
        }

    def is_on(self, section: str) -> bool:
        """Whether any vehicle is in a section."""
        return self._in[section] > 0

    def comes_on(self, section: str, *, at_once: bool = False) -> None:
        """Vehicles come on to one more element of a section. at_once: that is reported at once, if
        it is reported at all."""
        self._in[section] += 1
        if self._in[section] == 1:
            self._changed(section, at_once=at_once)

    def goes_off(self, section: str) -> None:
        """Vehicles leave an element of a section."""
        self._in[section] -= 1
        if self._in[section] == 0:
            self._changed(section)

    def in_time(self, section: str) -> None:
        """A section that is occupied has been reported so by now."""
        if section in self._detectors and self._in[section] > 0:
            self._report(section)

    def report_all(self) -> None:
        """Every detector says what it says now."""
        for name, detector in self._detectors.items():
            detector.version += 1
            detector.said = self._in[name] > 0 if detector.stuck is None else detector.stuck
            self._news.report("occupied" if detector.said else "clear", name)

    def _changed(self, section: str, *, at_once: bool = False) -> None:
        detector = self._detectors.get(section)
        if detector is None or detector.stuck is not None:
            return
        truth = self._in[section] > 0
        detector.version += 1
        if truth == detector.said:
            return
        if truth and at_once:
            self._report(section)
            return
        most = self._layout.times.section_report.of(section) / 1000
        self._agenda.after(
            self._rng.uniform(0.02, SHARE) * most, self._reports_now, section, detector.version
        )

    def _reports_now(self, section: str, version: int) -> None:
        if self._detectors[section].version == version:
            self._report(section)

    def _report(self, section: str) -> None:
        detector = self._detectors[section]
        detector.version += 1
        truth = self._in[section] > 0 if detector.stuck is None else detector.stuck
        if truth == detector.said:
            return
        detector.said = truth
        self._news.report("occupied" if truth else "clear", section)

    # ------------------------------------------------------------------- faults

    def names(self) -> list[str]:
        """Sections that have a detector."""
        return list(self._detectors)

    def is_stuck(self, section: str) -> bool:
        return self._detectors[section].stuck is not None

    def stick(self, section: str, occupied: bool) -> None:
        """From now on a detector says the same, whatever is so."""
        self._detectors[section].stuck = occupied
        self._news.tell("fault", f"the detector of {section} is stuck")
        self._report(section)

    def mend(self, section: str) -> None:
        self._detectors[section].stuck = None
        self._report(section)
        self._news.tell("fault", f"the detector of {section} is mended")
