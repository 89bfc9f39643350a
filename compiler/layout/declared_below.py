"""A device that is added for a line, although one of its kind is declared further down.

Outputs and inputs are given out in the order of the text, so that a line at the end moves nothing
that stands before it. Who declares a device below the lines that name its kind most likely meant
those lines to use it.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from bellcrank.diagnostics import Collector, Noun, Span


@dataclass(slots=True)
class DeclaredBelow:
    """Devices that are declared and not yet come to in the text, and a warning of one that is
    added meanwhile, once for each kind.

    what: what is added, such as a decoder. uses: what a line gets of it, such as an output.
    """

    what: Noun
    uses: Noun
    to_come: defaultdict[str, dict[str, Span]] = field(default_factory=lambda: defaultdict(dict))
    told: set[str] = field(default_factory=set)

    def declared(self, kind: str, name: str, place: Span) -> None:
        """One that has something left for lines that name its kind."""
        self.to_come[kind][name] = place

    def come_to(self, kind: str, name: str) -> None:
        """The text has come to it."""
        self.to_come[kind].pop(name, None)

    def added(self, kind: str, name: str, at: Span, found: Collector) -> None:
        """One more of a kind is added for a line: warn if one is yet to come."""
        below = next(iter(self.to_come[kind].items()), None)
        if below is None or kind in self.told:
            return
        self.told.add(kind)
        meant, place = below
        found.report(
            "W824",
            f"this takes {self.uses} of {self.what} that is added, {name}, for {meant} stands "
            "further down",
            at,
            hint=f"move the line of {meant} above this one, and it is used",
            related=[(place, f"{meant} is declared here")],
        )
