"""The command `run`: the proved controller at work, with links or the simulated railway, and its
page."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import webbrowser
from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

from rich.text import Text

from bellcrank.commands.exit_statuses import FAULTY, STOPPED, fail, status
from bellcrank.commands.reading_layout import compile_layout, prove_layout
from bellcrank.commands.reading_script import script_of
from bellcrank.commands.reports import count_warnings
from bellcrank.commands.run_links import (
    LinksError,
    LinkUse,
    Texts,
    links_of_line,
    only_heard,
    opened_by,
    read_links,
)
from bellcrank.compilation import Broken, Checked
from bellcrank.diagnostics import has_errors
from bellcrank.emit.description import TargetError
from bellcrank.emit.options import OptionError
from bellcrank.live.box import Box
from bellcrank.live.broker import BrokerLink
from bellcrank.live.clock import Clock, time_of_day
from bellcrank.live.decisions import Decision, Heard, Outcome
from bellcrank.live.engine import Engine
from bellcrank.live.journal import Journal, JournalError
from bellcrank.live.line_words import PLAIN, PatternError, read_pattern
from bellcrank.live.live import Follow, Link, Live
from bellcrank.live.pacing import Pacer
from bellcrank.live.people import may_come_in
from bellcrank.live.recalling import recalled
from bellcrank.live.script_player import ScriptPlayer
from bellcrank.live.simulated_link import SimulatedLink
from bellcrank.live.watching import Watch
from bellcrank.page.live_page import live_data
from bellcrank.picture import Annotations, draw_and_tell, one_way
from bellcrank.rehearsal.railway import Railway as RehearsalRailway
from bellcrank.rehearsal.script import Line
from bellcrank.sending.links import LinkError
from bellcrank.sending.places import PlaceError
from bellcrank.serving.app import Files, Server
from bellcrank.serving.people import People, PeopleError, anybody, read_people
from bellcrank.serving.serve import ServeError, serving
from bellcrank.serving.simulated import SimulatedPeople
from bellcrank.simulated.news import Happened
from bellcrank.simulated.railway import SimulatedRailway
from bellcrank.terminal.console import print_diagnostics, say, show
from bellcrank.terminal.outcome_words import outcome_words
from bellcrank.version import NOTICE, __version__

RAN, FAILED = 0, 1


@dataclass(frozen=True, slots=True)
class RunOptions:
    """What was asked for on the command line."""

    file: Path
    simulated: bool
    watch_only: bool
    by_itself: bool
    speed: float
    seed: int
    link: tuple[str, ...]
    links: Path | None
    target: str | None
    option: tuple[str, ...]
    reports_as: str | None
    on: str | None
    off: str | None
    ask_with: str | None
    journal: Path | None
    journal_size: int
    script: Path | None
    serve: str
    people: Path | None
    open: bool
    although_unproved: bool
    time_limit: float | None


class _NotRunError(Exception):
    """Nothing is run. Reads as a sentence without its full stop."""


def run_command(**given: Any) -> int:
    """Run the command; returns the exit status."""
    options = RunOptions(**given)
    try:
        return _run(options)
    except (_NotRunError, PlaceError, LinkError, TargetError, OptionError, PatternError) as error:
        return fail(str(error))
    except (JournalError, PeopleError, LinksError, ServeError) as error:
        return fail(str(error))


def _run(options: RunOptions) -> int:
    _check_options(options)
    pattern = PLAIN
    if options.reports_as is not None:
        pattern = read_pattern(options.reports_as, options.on, options.off)
    links = links_of_line(
        options.link, options.target, options.option, pattern, options.ask_with or ""
    )
    sound = compile_layout(options.file)
    if isinstance(sound, Broken):
        print_diagnostics(sound.diagnostics, sound.program.texts)
        return FAULTY
    if options.links is not None:
        links = read_links(options.links, sound.layout)
    c = prove_layout(sound, seconds=options.time_limit, controller=True)
    count_warnings(c, options.file)
    if not c.proved and not (options.although_unproved and c.outcome in ("undecided", "unmet")):
        if c.outcome == "no routes":
            say("the layout has no routes, so there is nothing to run: write signals into its runs")
            return FAULTY
        if status(c) != STOPPED:
            say(f"the layout is {outcome_words(c)}, so it is not run: `bellcrank check` tells more")
        return status(c)
    show(Text(f"{c.layout.title}: {c.outcome}"))
    script = _script(options.script, c) if options.script is not None else ()
    if script is None:
        return FAULTY
    return asyncio.run(_live(options, c, links, script))


def _check_options(options: RunOptions) -> None:
    """Raise _NotRunError where options contradict each other."""
    if not options.simulated and not options.link and options.links is None:
        raise _NotRunError(
            "say with what it is to run: --simulated for a simulated railway, or --link WHERE, "
            "such as --link mqtt://localhost"
        )
    if options.links is not None:
        for name, stated in (
            ("--target", options.target),
            ("--option", options.option),
            ("--reports-as", options.reports_as),
            ("--ask-with", options.ask_with),
        ):
            if stated:
                raise _NotRunError(f"{name} is stated of each link in {options.links}")
    if options.watch_only and options.simulated:
        raise _NotRunError(
            "--watch-only is for a railway that another controller works: give --link, not "
            "--simulated"
        )
    for name, given in (("--by-itself", options.by_itself), ("--script", options.script)):
        if given and not options.simulated:
            raise _NotRunError(f"{name} is for a simulated railway: give --simulated too")
    if options.speed != 1.0 and not options.simulated:
        raise _NotRunError("--speed is for a simulated railway: real time cannot be made faster")
    if (options.on or options.off) and options.reports_as is None:
        raise _NotRunError(
            "--on and --off are the words for {state} in --reports-as: give that too"
        )


# --------------------------------------------------------------------------- running


async def _live(
    options: RunOptions,
    c: Checked,
    uses: Sequence[LinkUse],
    script: Sequence[Line],
) -> int:
    control = c.control
    names = ["the simulated railway"] if options.simulated else [str(use.place) for use in uses]
    watch = Watch(c.layout, c.table, control, c.machine, names) if options.watch_only else None
    box = watch or Box(c.layout, c.table, control, names)
    clock = Clock(options.speed)
    journal = Journal(_journal_path(options), options.journal_size)
    if journal.set_aside is not None:
        say(f"the journal could not be read; it is kept as {journal.set_aside}")
    simulated = None
    links: list[Link] = []
    if options.simulated:
        railway = SimulatedRailway(c.layout, c.table, options.seed)
        railway.admits = lambda _, elements: may_come_in(box, elements)
        link = SimulatedLink(railway, clock)
        link.followers.append(_tell_happened)
        simulated = SimulatedPeople(link)
        links.append(link)
    elif options.watch_only:
        links += only_heard(uses, c, Texts(options.file, c))
    else:
        links += opened_by(uses, c, box, Texts(options.file, c))
    live = Live(clock, journal, links)
    live.followers.append(_telling((*_TOLD, "done") if options.watch_only else _TOLD))
    live.followers += [link.follow for link in links if isinstance(link, BrokerLink)]
    engine = Engine(box, Pacer(c.layout), live, live.put_out)
    before = list(recalled(journal, Box(c.layout, c.table, control), c.source_hash))
    journal.begin(c.layout.title, c.source_hash, __version__, time_of_day())
    for line in before:
        show(Text(line))
    people, keys = _people(options, c)
    shown = Annotations(one_way=one_way(c.layout, c.table))
    picture = draw_and_tell(c.layout, annotations=shown)[0].svg()
    data = live_data(c, box.sentences.looked_at, picture, only_watched=options.watch_only)
    host, port = _address(options.serve)
    server = Server(
        live, engine, people, Files(_static(), data), simulated,
        hosts=_hosts(host), left=before,
    )  # fmt: skip
    try:
        return await _serve(options, live, engine, server, simulated, (host, port), keys, script)
    finally:
        journal.end(time_of_day())
        journal.close()


async def _serve(
    options: RunOptions,
    live: Live,
    engine: Engine,
    server: Server,
    simulated: SimulatedPeople | None,
    address: tuple[str, int],
    keys: Sequence[tuple[str, str]],
    script: Sequence[Line],
) -> int:
    stopped = asyncio.Event()
    loop = asyncio.get_running_loop()
    ended = RAN

    def stop(status_: int) -> None:
        nonlocal ended
        ended = status_
        stopped.set()

    with contextlib.suppress(NotImplementedError):
        loop.add_signal_handler(signal.SIGINT, stop, STOPPED)
        loop.add_signal_handler(signal.SIGTERM, stop, RAN)
    async with serving(server, *address) as port:
        _tell_where(options, address[0], port, keys)
        tasks = [asyncio.create_task(live.run(engine)), asyncio.create_task(server.tell_on())]
        if simulated is not None and options.by_itself:
            tasks.append(asyncio.create_task(simulated.go_on(live, engine.box, options.seed)))
        if simulated is not None and script:
            player = ScriptPlayer(live, engine.box, simulated.link)
            tasks.append(asyncio.create_task(_play(player, live, engine.box, script, stop)))
        waiting = asyncio.create_task(stopped.wait())
        done, _ = await asyncio.wait([waiting, *tasks], return_when=asyncio.FIRST_COMPLETED)
        for task in (waiting, *tasks):
            task.cancel()
        results = await asyncio.gather(*tasks, return_exceptions=True)
    for result in results:
        if isinstance(result, BaseExceptionGroup):
            _, rest = result.split((JournalError, asyncio.CancelledError))
            if rest is not None:
                raise rest
            raise JournalError(str(result.exceptions[0]))
        if isinstance(result, Exception):
            raise result
    del done
    if not options.watch_only:
        show("All signals are at stop.")
    return ended


def _telling(outcomes: Container[Outcome]) -> Follow:
    """Says on the terminal what came out so, and which links are there."""

    def tell(decisions: Sequence[Decision]) -> None:
        for decision in decisions:
            worth = decision.outcome in outcomes or decision.heard.kind == "here"
            if worth and decision.told:
                told = "; ".join(decision.told)
                style = "bold red" if decision.outcome == "alarm" else ""
                show(Text(f"{time_of_day()[11:19]}  {told}", style))

    return tell


_TOLD: tuple[Outcome, ...] = ("alarm", "stopped", "started")
"""What is worth saying on the terminal."""


def _tell_happened(happened: Happened) -> None:
    """Say on the terminal what goes wrong on the simulated railway."""
    if happened.kind != "train":
        style = "bold red" if happened.kind == "accident" else ""
        show(Text(f"{time_of_day()[11:19]}  {happened.kind}: {happened.text}", style))


async def _play(
    player: ScriptPlayer,
    live: Live,
    box: Box,
    script: Sequence[Line],
    stop: Callable[[int], None],
) -> None:
    """Play a script to its end, telling what comes of each line, and stop."""
    while box.missing().any or box.absent:
        await asyncio.sleep(0.02)
    await live.ask(Heard("start", who="the script"))
    good = True
    for line in script:
        played = await player.play(line)
        show(Text(f"{line.span.line:>4}  {line.text}"))
        if played.wrong:
            good = False
            show(Text(f"      {played.wrong}", "bold red"))
    show("passed" if good else "failed")
    stop(RAN if good else FAILED)
    await asyncio.Event().wait()


def _script(path: Path, c: Checked) -> tuple[Line, ...] | None:
    """The lines of a script; None if there are errors in it, which are told."""
    railway = RehearsalRailway(c.machine, c.layout, c.table)
    lines, found, texts = script_of(path, c, railway)
    print_diagnostics(found, texts)
    return None if has_errors(found) else lines


# ---------------------------------------------------------------------- page and people


_PAGE_SCRIPTS = (
    "parts.js",
    "notes.js",
    "viewing.js",
    "targets.js",
    "picture.js",
    "ends.js",
    "live.js",
)


def _static() -> dict[str, tuple[str, bytes]]:
    """The files of the page."""
    page = files("bellcrank.targets") / "page"
    script = "\n".join((page / name).read_text("utf-8") for name in _PAGE_SCRIPTS)
    return {
        "/": ("text/html", (page / "live.html").read_bytes()),
        "/style.css": ("text/css", (page / "style.css").read_bytes()),
        "/live.css": ("text/css", (page / "live.css").read_bytes()),
        "/live.js": ("text/javascript", script.encode()),
    }


def _people(options: RunOptions, c: Checked) -> tuple[People, list[tuple[str, str]]]:
    """Who may do what, and the keys to tell."""
    if options.people is not None:
        return read_people(options.people, c.layout), []
    people, works, watches = anybody()
    if options.watch_only:
        return people, [("to look on", watches)]
    return people, [("to work it", works), ("to look on", watches)]


def _address(text: str) -> tuple[str, int]:
    parts = urlsplit(f"//{text}")
    try:
        port = parts.port
    except ValueError:
        port = None
    if not parts.hostname or port is None or parts.path:
        raise _NotRunError(
            f"`--serve {text}` is no address: write HOST:PORT, such as 127.0.0.1:8150"
        )
    return parts.hostname, port


def _hosts(host: str) -> frozenset[str]:
    """What a server for this machine alone may be called."""
    if host in ("127.0.0.1", "localhost", "::1"):
        return frozenset(("127.0.0.1", "localhost", "::1"))
    return frozenset()


def _tell_where(options: RunOptions, host: str, port: int, keys: Sequence[tuple[str, str]]) -> None:
    shown = f"[{host}]" if ":" in host else host
    address = f"http://{shown}:{port}/"
    if not keys:
        show(Text(f"{address}#key=KEY, with the key of each person in {options.people}"))
    for what, key in keys:
        show(Text(f"{what}: {address}#key={quote(key)}", no_wrap=True, overflow="ignore"))
    show(Text(NOTICE))
    if options.watch_only:
        show("It only watches and commands nothing. Ctrl-C ends it.")
    else:
        show("Ctrl-C ends it, with all signals at stop.")
    if options.open and keys:
        webbrowser.open(f"{address}#key={quote(keys[0][1])}")


def _journal_path(options: RunOptions) -> Path | None:
    if options.journal is not None or options.simulated:
        return options.journal
    return options.file.with_suffix(".journal")
