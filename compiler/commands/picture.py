"""The command `picture`: the track plan as SVG or PNG, with what is asked laid over it."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

from bellcrank.atomic_files import write_files
from bellcrank.commands.proving import check_layout, compile_layout, fail
from bellcrank.compilation import Broken, Checked, Sound
from bellcrank.diagnostics import Collector
from bellcrank.machine.machine_model import PROPERTIES
from bellcrank.picture import (
    NOTHING,
    Overlay,
    conflict_overlay,
    draw_and_tell,
    route_overlay,
    story_overlay,
)
from bellcrank.picture.style import properties, written_out
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.route_naming import COMMAND_LINE, asked_refs, asked_routes
from bellcrank.terminal.console import print_diagnostics
from bellcrank.version import NOTICE

DRAWN, FAULTY = 0, 2

PNG_SCALE = 2.0
"""Dots of a PNG to each pixel of the SVG."""


def add_picture(commands: Any) -> None:
    """Add the command to those of the command line."""
    parser = commands.add_parser(
        "picture",
        help="draw the track plan",
        description="Draw the layout as a track plan, from the text alone.",
        epilog="examples:\n"
        "  bellcrank picture harbour-terminus.crank\n"
        '  bellcrank picture harbour-terminus.crank --route "W1 to T1" --output w1.svg\n'
        '  bellcrank picture harbour-terminus.crank --conflict "W1 to T1" "G1 to T2"\n'
        "  bellcrank picture harbour-terminus-forgetful.crank --story meetings\n\n"
        "exit status:\n  0  the picture is written\n"
        "  2  an error in the input or on the command line, or there is no such story\n\n" + NOTICE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="a layout (.crank)")
    shown = parser.add_mutually_exclusive_group()
    shown.add_argument("--route", metavar="ROUTE", help="show a route in the picture")
    shown.add_argument(
        "--conflict", nargs=2, metavar="ROUTE", help="show two routes and where they meet"
    )
    shown.add_argument(
        "--story",
        choices=sorted(PROPERTIES),
        metavar="PROPERTY",
        help=f"prove the layout and show how a property is violated: {', '.join(PROPERTIES)}",
    )
    parser.add_argument(
        "--signals",
        choices=("left", "right"),
        default="left",
        help="the side of the line on which signals stand, as their trains go (default: left)",
    )
    parser.add_argument(
        "--output",
        type=Path,
        metavar="FILE",
        help="where to write, .svg or .png (default: named after the layout, .svg)",
    )
    parser.set_defaults(run=picture)


def picture(options: argparse.Namespace) -> int:
    """Run the command; returns the exit status."""
    path: Path = options.output or Path(options.file.name).with_suffix(".svg")
    suffix = path.suffix.lower()
    if suffix not in (".svg", ".png"):
        return fail(f"{path} is neither .svg nor .png; a picture can be written as these two")
    to_png = None
    if suffix == ".png":
        to_png = _png_writer()
        if to_png is None:
            return fail(
                "a PNG needs the library cairosvg: `pip install 'bellcrank[png]'`; "
                "an SVG can be written without it"
            )
    # Only a story needs the proofs.
    c = check_layout(options.file) if options.story else compile_layout(options.file)
    print_diagnostics(c.diagnostics, c.program.texts)
    if isinstance(c, Broken):
        return FAULTY
    overlay = _story(options.story, c) if isinstance(c, Checked) else _overlay(options, c)
    if overlay is None:
        return FAULTY
    svg, warnings = draw_and_tell(c.layout, overlay, signals=options.signals)
    print_diagnostics(warnings, c.program.texts)
    data = svg.encode("utf-8") if to_png is None else to_png(svg)
    try:
        write_files(path.parent, {path.name: data})
    except OSError as error:
        return fail(f"{path} cannot be written: {error.strerror or error}")
    print(path)
    return DRAWN


def _overlay(options: argparse.Namespace, c: Sound) -> Overlay | None:
    """The routes that are to be shown; None, with the reason said, if they cannot be."""
    words = [options.route] if options.route else options.conflict or []
    routes = [_route(text, c.table) for text in words]
    found = [r for r in routes if r is not None]
    if len(found) < len(words):
        return None
    if len(found) == 1:
        return route_overlay(c.layout, found[0])
    if len(found) == 2:
        if found[0].name == found[1].name:
            fail("these are one and the same route; name two")
            return None
        return conflict_overlay(c.layout, c.table, found[0], found[1])
    return NOTHING


def _story(name: str, c: Checked) -> Overlay | None:
    """How a property is violated; None, with the reason said, if there is no story of it."""
    result = next((r for r in c.moving.results if r.name == name), None)
    story = result.story if result is not None else None
    if story is None:
        outcome = result.outcome if result is not None else "not looked at"
        fail(f"there is no story to show: `{PROPERTIES[name]}` is {outcome}")  # type: ignore[index]
        return None
    steps = [step.event for step in story.steps]
    return story_overlay(c.layout, c.machine, c.table, steps, story.ending, dict(story.start))


def _route(text: str, table: RouteTable) -> Route | None:
    """The route that words mean; None, with the reason said, if they do not mean one."""
    found = Collector()
    routes = asked_routes(asked_refs(text, table.routes), table.routes, found)
    if found.diagnostics:
        print_diagnostics(found.result(), {COMMAND_LINE: text})
        return None
    if len(routes) != 1:
        fail(f"`{text}` names {len(routes)} routes; give each route by itself, in quotes")
        return None
    return routes[0]


def _png_writer() -> Callable[[str], bytes] | None:
    """What turns an SVG into a PNG, if its library is there."""
    try:
        import cairosvg
    except (ImportError, OSError):  # OSError: the library is there, but not cairo itself
        return None

    def write(svg: str) -> bytes:
        # On paper: without it the lines are dark on dark wherever the ground is dark.
        data: bytes = cairosvg.svg2png(
            bytestring=written_out(svg).encode("utf-8"),
            scale=PNG_SCALE,
            background_color=properties(svg)["--paper"],
        )
        return data

    return write
