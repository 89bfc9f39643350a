"""The links of the command `run`: stated one by one on its line, or in a file of their own."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from bellcrank.commands.identifier_file import identifiers_beside
from bellcrank.commands.messages import TextOf, steps_of
from bellcrank.compilation import Checked
from bellcrank.diagnostics import did_you_mean, has_errors
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import Document
from bellcrank.emit.options import split
from bellcrank.emit.render import render_target
from bellcrank.emit.target import Target, load_target
from bellcrank.layout.layout_model import Layout
from bellcrank.live.box import Box
from bellcrank.live.broker import BrokerLink, Standing
from bellcrank.live.broker_watch import BrokerWatch
from bellcrank.live.decisions import Doing, EndPulse, Light, Show, Throw
from bellcrank.live.line_words import PLAIN, LineWords, Pattern, PatternError, read_pattern
from bellcrank.live.lines import LineLink
from bellcrank.live.live import Link
from bellcrank.live.panel import PanelButtons
from bellcrank.machine.commands import Command, lamp_command, show_list, throw_command
from bellcrank.machine.frame import IDLE
from bellcrank.routes.route_naming import by_start
from bellcrank.sending.links import require
from bellcrank.sending.places import Place, PlaceError, read_place
from bellcrank.terminal.console import print_diagnostics
from bellcrank.timing.timetable_model import Timed, Timetable


class LinksError(ValueError):
    """Links that cannot be used, as a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class LinkUse:
    """A link, and what goes over it.

    target: whose text commands have on a line. given: options of it.
    serves: the decoders behind it; None if all commands go there.
    ask: the line that asks how everything stands; empty if there is none.
    """

    place: Place
    target: Target
    given: Mapping[str, str]
    pattern: Pattern = PLAIN
    serves: frozenset[str] | None = None
    ask: str = ""


class _Row(msgspec.Struct, forbid_unknown_fields=True):
    """A link in a file."""

    at: str
    serves: list[str] | None = None
    target: str = "csv"
    options: dict[str, str] = {}
    reports_as: str | None = None
    on: str | None = None
    off: str | None = None
    ask_with: str = ""


class _Rows(msgspec.Struct, forbid_unknown_fields=True):
    link: list[_Row]


_FIELDS = _Row.__struct_fields__


def links_of_line(
    places: Iterable[str],
    target: str | None,
    options: Sequence[str],
    pattern: Pattern,
    ask: str,
) -> list[LinkUse]:
    """The links of the command line, which share all else.

    Raises PlaceError, LinkError, TargetError and OptionError.
    """
    read = [read_place(text) for text in places]
    for place in read:
        require(place)
    mqtt, lines = load_target("mqtt"), load_target(target or "csv")
    used = [mqtt if place.kind == "mqtt" else lines for place in read]
    given = split(options, [o for each in used for o in each.options])
    return [
        LinkUse(place, each, given, pattern, None, ask)
        for place, each in zip(read, used, strict=True)
    ]


def read_links(path: Path, layout: Layout) -> list[LinkUse]:
    """Links from a file, TOML: a `[[link]]` each with `at` and what else there is to say.

    Raises LinksError, and LinkError where a library is missing.
    """
    try:
        told = tomllib.loads(path.read_text("utf-8"))
        rows = msgspec.convert(told, _Rows).link
    except OSError as error:
        raise LinksError(f"{path} cannot be read: {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise LinksError(f"{path} is not TOML: {error}") from None
    except msgspec.ValidationError as error:
        raise LinksError(
            f"{path}: {error}; write a `[[link]]` for each, with `at`, and where they are needed "
            f"{', '.join(f'`{name}`' for name in _FIELDS[1:])}"
        ) from None
    if not rows:
        raise LinksError(f"{path} holds no links: write a `[[link]]` for each")
    found = []
    for number, row in enumerate(rows, start=1):
        try:
            found.append(_link(row, layout))
        except (PlaceError, PatternError, LinksError) as error:
            raise LinksError(f"{path}, link {number}: {error}") from None
    _each_once(path, found, layout)
    return found


def _link(row: _Row, layout: Layout) -> LinkUse:
    place = read_place(row.at)
    require(place)
    for decoder in row.serves or ():
        if decoder not in layout.hardware.decoders:
            near = did_you_mean(decoder, list(layout.hardware.decoders))
            hint = f"; {near}" if near else ""
            raise LinksError(f"the layout has no decoder `{decoder}`{hint}")
    if (row.on or row.off) and row.reports_as is None:
        raise LinksError("`on` and `off` are the words for {state} in `reports_as`: give that too")
    pattern = PLAIN if row.reports_as is None else read_pattern(row.reports_as, row.on, row.off)
    target = load_target("mqtt" if place.kind == "mqtt" else row.target)
    given = split([f"{k}={v}" for k, v in row.options.items()], target.options)
    serves = None if row.serves is None else frozenset(row.serves)
    return LinkUse(place, target, given, pattern, serves, row.ask_with)


def _each_once(path: Path, links: Sequence[LinkUse], layout: Layout) -> None:
    """Every decoder is behind a link, and no place is named twice."""
    places = [str(link.place) for link in links]
    twice = next((place for place in places if places.count(place) > 1), None)
    if twice is not None:
        raise LinksError(f"{path}: there are two links to {twice}")
    if any(link.serves is None for link in links):
        return
    served = {decoder for link in links for decoder in link.serves or ()}
    missing = [decoder for decoder in layout.hardware.decoders if decoder not in served]
    if missing:
        raise LinksError(f"{path}: no link serves {', '.join(missing)}")


# ------------------------------------------------------------------------- what is sent


class Texts:
    """What is sent over links for each thing that may be to be done."""

    def __init__(self, file: Path, c: Checked) -> None:
        self._file = file
        self._c = c
        self._documents: dict[str, Document] = {}

    def _document(self, target: Target) -> Document:
        known = self._documents.get(target.name)
        if known is None:
            known = self._documents[target.name] = build_document(self._c, target.without)
        return known

    def lines(self, use: LinkUse) -> dict[Doing, str]:
        """The line for each thing that goes over a link. Raises TargetError and LinksError."""
        doings, commands = zip(*self._commands(use), strict=True)
        timetable = Timetable("start up", "", tuple(Timed(0, 0, c) for c in commands), 0, 0)
        beside = identifiers_beside(self._file, [use.target], dict(use.given))
        if has_errors(beside.diagnostics):
            print_diagnostics(beside.diagnostics, dict(beside.texts))
            raise LinksError("the identifiers beside the layout cannot be used")
        by = TextOf(
            use.target,
            dict(use.given),
            self._document(use.target),
            with_topic=False,
            pinned=beside.pinned,
        )
        found: dict[Doing, str] = {}
        for doing, step in zip(doings, steps_of(timetable, self._c.layout, by), strict=True):
            if isinstance(doing, Light):
                # A lamp that nothing puts out had better not be lit.
                if step.message is not None and step.off is not None:
                    found[doing] = step.message.text
                    found[Light(doing.route, lit=False)] = step.off.text
                continue
            if step.message is not None:
                found[doing] = step.message.text
            if step.off is not None and isinstance(doing, Throw):
                found[EndPulse(doing.drive, doing.position)] = step.off.text
        return found

    def _commands(self, use: LinkUse) -> Iterator[tuple[Doing, Command]]:
        """Each thing that goes over a link, with its command."""
        layout = self._c.layout
        found: list[tuple[Doing, Command]] = []
        for name, shown in layout.signals.items():
            for aspect in shown.aspects:
                found.append((Show(name, aspect.name), show_list(layout, name, aspect.name)[-1]))
        for drive in layout.drives.values():
            for position in drive.positions:
                command = throw_command(layout, drive.name, position)
                found.append((Throw(drive.name, position), command))
        for lamp in self._c.table.panel.lamps:
            found.append((Light(lamp.route, lit=True), lamp_command(layout, lamp)))
        return (each for each in found if _goes_over(use, each[1]))

    def messages(self, use: LinkUse) -> dict[str, Any]:
        """What the target mqtt tells of topics and devices. Raises TargetError."""
        [text] = render_target(use.target, self._document(use.target), dict(use.given)).values()
        told: dict[str, Any] = json.loads(text)
        return told


def _goes_over(use: LinkUse, command: Command) -> bool:
    """Whether a command goes over a link. Raises LinksError if half of it would."""
    if use.serves is None or command.decoder is None:
        return True
    lamps = (*command.puts_out, *command.lights)
    decoders = dict.fromkeys((command.decoder, *(lamp.decoder for lamp in lamps)))
    behind = [decoder for decoder in decoders if decoder in use.serves]
    if behind and len(behind) < len(decoders):
        raise LinksError(
            f"{command.name} is on {' and '.join(decoders)}, and only {' and '.join(behind)} is "
            f"behind {use.place}: let one link serve all of them"
        )
    return bool(behind)


# --------------------------------------------------------------------------- the links


def opened_by(uses: Iterable[LinkUse], c: Checked, box: Box, texts: Texts) -> Iterator[Link]:
    """The links, over which the railway is worked."""
    starts = {
        s: [r.name for r in routes] for s, routes in by_start(c.table.routes.values()).items()
    }
    buttons = PanelButtons(c.table.panel, starts, lambda route: box.stage(route) != IDLE)
    for use in uses:
        if use.place.kind == "mqtt":
            yield BrokerLink(use.place, texts.messages(use), lambda: _standing(box))
            continue
        lines = texts.lines(use)
        pulses = (doing for doing in lines if isinstance(doing, EndPulse))
        to_stop: list[Doing] = [*box.all_at_stop(), *pulses]
        words = LineWords(c.layout, c.table, buttons, use.pattern, str(use.place))
        yield LineLink(use.place, lines, words, to_stop, use.ask)


def only_heard(uses: Iterable[LinkUse], c: Checked, texts: Texts) -> Iterator[Link]:
    """The links, over which nothing is commanded."""
    buttons = PanelButtons(c.table.panel, {}, lambda _: False)
    for use in uses:
        if use.place.kind == "mqtt":
            yield BrokerWatch(use.place, texts.messages(use))
        else:
            words = LineWords(c.layout, c.table, buttons, use.pattern, str(use.place))
            yield LineLink(use.place, {}, words, (), use.ask)


def _standing(box: Box) -> Standing:
    states: dict[tuple[str, str], str] = {("signal", s): a for s, a in box.aspects().items()}
    states |= {("route", name): box.stage(name) for name in box.table.routes}
    return Standing(box.running, box.because, states)
