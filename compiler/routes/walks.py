"""The ways from every signal, within the bound on routes."""

from __future__ import annotations

from bellcrank.diagnostics import Collector
from bellcrank.layout.layout_model import Layout, Signal, TrackEnd
from bellcrank.routes.section_gaps import SectionGap, gap_in
from bellcrank.routes.track_search import Path, Search, comes_back, search, signals_by_joint


class Walks:
    """The ways from each signal, looked for once when first asked for.

    found: told when there are more than `most` ways in all; then `overrun` is set.
    gaps: for each signal the ways that are none because a section forgets a piece of them.
    """

    def __init__(self, layout: Layout, most: int, found: Collector) -> None:
        self.layout = layout
        self.most = most
        self.found = found
        self.at: dict[TrackEnd, Signal] = signals_by_joint(layout)
        self.searches: dict[str, Search] = {}
        self.gaps: dict[str, list[tuple[SectionGap, Path]]] = {}
        self.count = 0
        self.overrun = False

    def from_signal(self, name: str) -> Search:
        """The ways from a signal that come back into no section of their own."""
        if name not in self.searches:
            signal = self.layout.signals[name]
            result = Search()
            if not self.overrun:
                result = search(self.layout, signal, self.at, self.most - self.count)
                self._tidy(name, result)
            if result.overrun and not self.overrun:
                self.overrun = True
                self._report_overrun(signal)
            self.count += len(result.paths)
            self.searches[name] = result
        return self.searches[name]

    def _tidy(self, name: str, result: Search) -> None:
        kept = []
        for path in result.paths:
            again = comes_back(path, self.layout)
            if again is not None:
                gap = gap_in(path, self.layout, self.at)
                if gap is not None:
                    self.gaps.setdefault(name, []).append((gap, path))
                elif again not in result.met:
                    result.met.append(again)
            elif (drive := _needed_both_ways(path)) is not None:
                result.barred.setdefault(drive, path.end)
            else:
                kept.append(path)
        result.paths[:] = kept

    def _report_overrun(self, signal: Signal) -> None:
        self.found.report(
            "E404",
            f"there are too many ways: over {self.most:,} routes, "
            f"or too much track without a signal beyond {signal.name}",
            signal.span,
            hint="put signals between, or write `routes derive at most …` with a greater number",
        )


def _needed_both_ways(path: Path) -> str | None:
    """A drive of coupled points that would have to lie two ways at once, or None.

    No train can take such a way, as none runs from one branch leg of points to
    the other.
    """
    needed: dict[str, str] = {}
    for way in path.ways:
        for drive, position in way.when:
            if needed.setdefault(drive, position) != position:
                return drive
    return None
