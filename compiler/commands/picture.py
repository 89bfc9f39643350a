"""The command `picture`: the track plan as SVG or PNG, with what is asked laid over it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from bellcrank.commands.exit_statuses import FAULTY, fail
from bellcrank.commands.reading_layout import check_layout, compile_layout
from bellcrank.commands.reports import count_warnings
from bellcrank.compilation import Broken, Checked, Sound
from bellcrank.diagnostics import Collector
from bellcrank.document.layout_data import hardware_data, layout_data
from bellcrank.file_sets.single_files import write_files
from bellcrank.layout.layout_model import Hand
from bellcrank.machine.machine_model import PROPERTIES, PropertyName
from bellcrank.paper.plan_outputs import Beneath, inputs_on_plan, one_below_another, outputs_on_plan
from bellcrank.picture import (
    BARE,
    NOTHING,
    Annotations,
    Overlay,
    Picture,
    conflict_overlay,
    draw_and_tell,
    one_way,
    route_overlay,
    sections_named,
    story_overlay,
)
from bellcrank.picture.style import COLOURS
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.route_naming import COMMAND_LINE, asked_refs, asked_routes
from bellcrank.terminal.console import print_diagnostics

DRAWN = 0

PNG_SCALE = 2.0
"""Dots of a PNG to each pixel of the SVG."""


def picture(
    file: Path,
    route: str | None,
    conflict: tuple[str, str] | None,
    story: PropertyName | None,
    signals: Hand,
    show: tuple[str, ...],
    bare: bool,
    width: int | None,
    out: Path | None,
) -> int:
    """Run the command; returns the exit status."""
    path = out or Path(file.name).with_suffix(".svg")
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
    c = check_layout(file) if story else compile_layout(file)
    if isinstance(c, Broken):
        print_diagnostics(c.diagnostics, c.program.texts)
        return FAULTY
    count_warnings(c, file)
    if story and isinstance(c, Checked):
        overlay = _story(story, c)
    else:
        overlay = _overlay([route] if route else conflict or (), c)
    if overlay is None:
        return FAULTY
    overlay = replace(overlay, beneath=_beneath(show, c))
    annotations = BARE if bare else _annotations(c, alone=not (route or conflict or story))
    drawn, warnings = draw_and_tell(
        c.layout, overlay, signals=signals, width=width, annotations=annotations
    )
    print_diagnostics(warnings, c.program.texts)
    data = drawn.svg().encode("utf-8") if to_png is None else to_png(drawn)
    try:
        write_files(path.parent, {path.name: data})
    except OSError as error:
        return fail(f"{path} cannot be written: {error.strerror or error}")
    print(path)
    return DRAWN


def _annotations(c: Sound, alone: bool) -> Annotations:
    """What stands beside the track. alone: whether nothing is laid over it."""
    files = list(c.program.texts)
    others = f" and {len(files) - 1} more" if len(files) > 1 else ""
    origin = f"Drawn from {files[-1]}{others}, sha256 {c.source_hash[:12]}. Not to scale."
    if not alone:
        return Annotations(c.layout.title, origin, key=True)
    return Annotations(c.layout.title, origin, True, one_way(c.layout, c.table), True)


def _beneath(show: Sequence[str], c: Sound) -> Beneath:
    """What is to stand below names."""
    if not show:
        return {}
    layout = layout_data(c.layout)
    made: dict[str, Callable[[], Beneath]] = {
        "sections": lambda: sections_named(c.layout),
        "outputs": lambda: outputs_on_plan(layout),
        "inputs": lambda: inputs_on_plan(layout, hardware_data(c.layout, c.table)),
    }
    return one_below_another(made[what]() for what in dict.fromkeys(show))


def _overlay(words: Sequence[str], c: Sound) -> Overlay | None:
    """The routes that are to be shown; None, with the reason said, if they cannot be."""
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


def _story(name: PropertyName, c: Checked) -> Overlay | None:
    """How a property is violated; None, with the reason said, if there is no story of it."""
    result = next((r for r in c.moving.results if r.name == name), None)
    story = result.story if result is not None else None
    if story is None:
        outcome = result.outcome if result is not None else "not looked at"
        fail(f"there is no story to show: `{PROPERTIES[name]}` is {outcome}")
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


def _png_writer() -> Callable[[Picture], bytes] | None:
    """What turns a picture into a PNG, if its library is there."""
    try:
        import cairosvg
    except (ImportError, OSError):  # OSError: the library is there, but not cairo itself
        return None

    def write(drawn: Picture) -> bytes:
        # On paper: without it the lines are dark on dark wherever the ground is dark.
        data: bytes = cairosvg.svg2png(
            bytestring=drawn.plain_svg().encode("utf-8"),
            scale=PNG_SCALE,
            background_color=COLOURS["--paper"],
        )
        return data

    return write
