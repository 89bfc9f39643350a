"""How the picture looks: colours and strokes, by class alone.

A page that shows the picture may set the custom properties otherwise.
"""

from __future__ import annotations

import re

STYLE = """\
.plan { --paper: #fdfdfb; --line: #1d242b; --quiet: #66707a; --route: #0b5cad;
  --other: #a3480a; --occupied: #b3261e; --accent: #7a1fa2; background: var(--paper);
  font-family: "DejaVu Sans Mono", ui-monospace, Menlo, Consolas, monospace; }
.way, .lead { fill: none; stroke: var(--line); stroke-width: 2.4; stroke-linejoin: round;
  stroke-linecap: butt; }
.lead { stroke-dasharray: 3 2; stroke-width: 1.6; }
.casing { stroke: var(--paper); stroke-width: 9; }
.over { stroke: var(--line); stroke-width: 2.4; }
.parapet { fill: none; stroke: var(--line); stroke-width: 1; }
.joint { stroke: var(--quiet); stroke-width: 0.8; }
.section-end { stroke: var(--line); stroke-width: 1.2; fill: none; }
.stop, .edge path { fill: none; stroke: var(--line); stroke-width: 2; stroke-linejoin: miter; }
.edge path { stroke-width: 1.4; }
.frame { fill: none; stroke: var(--quiet); stroke-width: 1; stroke-dasharray: 5 3; }
.pivot { fill: var(--line); stroke: none; }
.drive { fill: var(--paper); stroke: var(--line); stroke-width: 1.2; }
.post { fill: none; stroke: var(--line); stroke-width: 1.3; }
.lamp { fill: var(--paper); stroke: var(--line); stroke-width: 1.3; }
.bar { stroke: var(--line); stroke-width: 1.3; }
.shunt .lamp { fill: var(--line); }
.shunt .bar { stroke: var(--paper); }
.off .bar { display: none; }
.shunt.off .lamp { fill: var(--paper); }
.signal .lamp.lit { fill: var(--route); }
.way.set, .way.first { stroke: var(--route); stroke-width: 5; }
.way.second { stroke: var(--other); stroke-width: 5; stroke-dasharray: 9 4; }
.way.first.second { stroke: var(--accent); stroke-dasharray: 16 3 4 3; }
.held > .way:not(.set) { stroke: var(--route); stroke-dasharray: 7 2; }
.overlap > .way:not(.set):not(.first):not(.second) { stroke: var(--route); stroke-width: 5;
  stroke-dasharray: 2 3; }
.occupied > .way { stroke-width: 3.4; }
.occupied > .way.set, .piece.occupied > .way, .occupied > .way.lies { stroke: var(--occupied);
  stroke-width: 7; stroke-dasharray: 12 1.5; }
.exit .post { stroke-width: 2.6; }
.ring { fill: none; stroke: var(--accent); stroke-width: 1.8; }
.arrow { fill: var(--route); stroke: var(--paper); stroke-width: 1; }
.arrow.second { fill: var(--paper); stroke: var(--other); stroke-width: 1.4; }
.note { fill: var(--route); font-size: 11px; text-anchor: middle; font-style: italic; }
.note.step { fill: var(--paper); font-style: normal; font-weight: 600; }
.pill { fill: var(--accent); }
.legend { fill: var(--line); font-size: 11px; }
.name { fill: var(--line); font-size: 11px; text-anchor: middle; }
.name.signal, .name.edge { font-weight: 600; }
.name.piece { fill: var(--quiet); }
"""


def properties(text: str) -> dict[str, str]:
    """The custom properties that a style sets."""
    return dict(re.findall(r"(--[a-z]+): ([^;}]+);", text))


def written_out(text: str) -> str:
    """A style, or a picture with one, with the values of its custom properties in place of
    their names, for readers that lack them."""
    values = properties(text)
    return re.sub(r"var\((--[a-z]+)\)", lambda m: values[m[1]], text)
