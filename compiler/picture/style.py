"""How the picture looks: colours and strokes, by class alone.

A page that shows the picture may set the custom properties otherwise.
"""

from __future__ import annotations

from bellcrank.picture.marked import RULES as MARKED
from bellcrank.picture.rules import Rule

COLOURS = {
    "--paper": "#fdfdfb",
    "--line": "#1d242b",
    "--quiet": "#66707a",
    "--route": "#0b5cad",
    "--other": "#a3480a",
    "--occupied": "#1d242b",
    "--meets": "#a3140f",
    "--accent": "#7a1fa2",
}
"""The custom properties, which every rule may name."""

WHOLE = Rule(
    (".plan",),
    "background: var(--paper);\n"
    '  font-family: "DejaVu Sans Mono", ui-monospace, Menlo, Consolas, monospace;',
)
"""For the picture as a whole."""

RULES = (
    WHOLE,
    Rule(
        (".way", ".lead"),
        "fill: none; stroke: var(--line); stroke-width: 2.4; stroke-linejoin: round;\n"
        "  stroke-linecap: butt;",
    ),
    Rule((".lead",), "stroke-dasharray: 3 2; stroke-width: 1.6;"),
    Rule((".casing",), "stroke: var(--paper); stroke-width: 9;"),
    Rule((".over",), "stroke: var(--line); stroke-width: 2.4;"),
    Rule((".parapet",), "fill: none; stroke: var(--line); stroke-width: 1;"),
    Rule(
        (".platform",),
        "fill: var(--quiet); fill-opacity: 0.14; stroke: var(--line); stroke-width: 1;",
    ),
    Rule((".platform-name",), "fill: var(--line); font-size: 11px; text-anchor: middle;"),
    Rule(
        (".remark",),
        "fill: var(--line); font-size: 11px; text-anchor: middle; font-style: italic;",
    ),
    Rule((".joint",), "stroke: var(--quiet); stroke-width: 0.8;"),
    Rule((".section-end",), "stroke: var(--line); stroke-width: 1.2; fill: none;"),
    Rule(
        (".stop", ".edge path"),
        "fill: none; stroke: var(--line); stroke-width: 2; stroke-linejoin: miter;",
    ),
    Rule((".edge path",), "stroke-width: 1.4;"),
    Rule((".frame",), "fill: none; stroke: var(--quiet); stroke-width: 1; stroke-dasharray: 5 3;"),
    Rule((".pit",), "stroke: var(--line); stroke-width: 1.6; stroke-dasharray: none;"),
    Rule((".pivot",), "fill: var(--line); stroke: none;"),
    Rule((".drive",), "fill: var(--paper); stroke: var(--line); stroke-width: 1.2;"),
    Rule((".post",), "fill: none; stroke: var(--line); stroke-width: 1.3;"),
    Rule((".lamp",), "fill: var(--paper); stroke: var(--line); stroke-width: 1.3;"),
    Rule((".bar",), "stroke: var(--line); stroke-width: 1.3;"),
    Rule((".shunt .lamp",), "fill: var(--line);"),
    Rule((".shunt .bar",), "stroke: var(--paper);"),
    Rule((".off .bar",), "display: none;"),
    Rule((".shunt.off .lamp",), "fill: var(--paper);"),
    Rule((".signal .lamp.lit",), "fill: var(--route);"),
    *MARKED,
    Rule((".exit .post",), "stroke-width: 2.6;"),
    Rule((".arrow",), "fill: var(--route); stroke: var(--paper); stroke-width: 1;"),
    Rule((".arrow.second",), "fill: var(--paper); stroke: var(--other); stroke-width: 1.4;"),
    Rule(
        (".note",), "fill: var(--route); font-size: 11px; text-anchor: middle; font-style: italic;"
    ),
    Rule((".note.step",), "fill: var(--paper); font-style: normal; font-weight: 600;"),
    Rule((".pill",), "fill: var(--accent);"),
    Rule((".match circle",), "fill: none; stroke: var(--line); stroke-width: 1.2;"),
    Rule(
        (".match text",),
        "fill: var(--line); font-size: 11px; font-weight: 600; text-anchor: middle;",
    ),
    Rule((".legend",), "fill: var(--line); font-size: 11px;"),
    Rule(
        (".one-way",),
        "fill: var(--line); stroke: var(--paper); stroke-width: 1; pointer-events: none;",
    ),
    Rule((".against",), "stroke: var(--paper); stroke-width: 5;"),
    Rule((".key-word", ".plan-origin"), "fill: var(--line); font-size: 11px;"),
    Rule((".plan-heading",), "fill: var(--line); font-size: 16px; font-weight: 600;"),
    Rule((".plan-rule",), "fill: none; stroke: var(--line); stroke-width: 1;"),
    Rule((".name",), "fill: var(--line); font-size: 11px; text-anchor: middle;"),
    Rule((".name.signal", ".name.edge"), "font-weight: 600;"),
    Rule((".name.piece",), "fill: var(--quiet);"),
    Rule((".beneath",), "fill: var(--line); font-size: 11px; text-anchor: middle;"),
)

_SET = [f"{name}: {value};" for name, value in COLOURS.items()]
_SETTING = WHOLE._replace(said=f"{' '.join(_SET[:4])}\n  {' '.join(_SET[4:])} {WHOLE.said}")

STYLE = "".join(f"{rule}\n" for rule in (_SETTING, *RULES[1:]))
"""All rules, with the colours set for the picture as a whole."""


def in_colour(rule: Rule) -> Rule:
    """A rule with colours in place of the names of custom properties, for readers that
    lack these."""
    said = rule.said
    for name, colour in COLOURS.items():
        said = said.replace(f"var({name})", colour)
    return rule._replace(said=said)


PLAIN_STYLE = "".join(f"{in_colour(rule)}\n" for rule in RULES)
"""The same rules without custom properties."""
