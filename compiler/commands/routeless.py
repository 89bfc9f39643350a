"""What is sent for no route: the start-up, all signals to stop; one drive, signal or output."""

from __future__ import annotations

from typing import Protocol

from bellcrank.compilation import Sound
from bellcrank.timing.drives_now import DrivesNowError, perhaps, read_drives_now
from bellcrank.timing.lists import to_show, to_start_up, to_stop_all, to_switch, to_throw
from bellcrank.timing.timetable_model import Timetable

ALONE = (
    "One drive, signal or output alone sets no route: neither the locking nor the proof says "
    "anything of it. That no train is near is for you to see to."
)


class Routeless(Protocol):
    """What was asked for in place of a route. drive: with a position; signal: with an aspect;
    output: with a state."""

    @property
    def start_up(self) -> bool: ...
    @property
    def all_to_stop(self) -> bool: ...
    @property
    def drive(self) -> tuple[str, str] | None: ...
    @property
    def signal(self) -> tuple[str, str] | None: ...
    @property
    def output(self) -> tuple[str, str] | None: ...


class RoutelessError(ValueError):
    """What was asked for is not there; a sentence without its full stop."""


def asked_in_place_of_a_route(options: Routeless) -> list[str]:
    """The options that were given in place of a route."""
    given = {
        "--start-up": options.start_up,
        "--all-to-stop": options.all_to_stop,
        "--drive": options.drive is not None,
        "--signal": options.signal is not None,
        "--output": options.output is not None,
    }
    return [name for name, there in given.items() if there]


def contradiction(options: Routeless, *, with_route: bool) -> str:
    """What is wrong with them, as a sentence; empty if nothing is.

    with_route: whether a route or something of a route was given as well.
    """
    given = asked_in_place_of_a_route(options)
    if len(given) > 1:
        return f"{given[1]} is not allowed with {given[0]}"
    if given and with_route:
        whole = (
            "is for the whole layout"
            if given[0] in ("--start-up", "--all-to-stop")
            else ("is for no route")
        )
        return f"{given[0]} {whole}: give no route, --cancel or --drives-now with it"
    return ""


def without_route(options: Routeless, c: Sound) -> Timetable | None:
    """The timetable that was asked for; None if a route was. Raises RoutelessError."""
    if options.start_up:
        return to_start_up(c.layout, c.table, c.locking)
    if options.all_to_stop:
        return to_stop_all(c.layout)
    if options.drive is not None:
        try:
            ((drive, position),) = read_drives_now(" ".join(options.drive), c.layout).items()
        except (DrivesNowError, ValueError) as error:
            raise RoutelessError(f"--drive: {error}") from None
        return to_throw(c.layout, drive, position)
    if options.signal is not None:
        name, aspect = options.signal
        signal = c.layout.signals.get(name)
        if signal is None:
            raise RoutelessError(
                f"--signal: there is no signal `{name}`{perhaps(name, list(c.layout.signals))}"
            )
        if signal.imagined:
            raise RoutelessError(f"--signal: {name} is imagined: nothing stands there to show it")
        known = [a.name for a in signal.aspects]
        if aspect not in known:
            raise RoutelessError(
                f"--signal: {name} does not show `{aspect}`: it shows {' or '.join(known)}"
                f"{perhaps(aspect, known)}"
            )
        return to_show(c.layout, name, aspect)
    if options.output is not None:
        name, state = options.output
        named = c.layout.hardware.outputs.get(name)
        if named is None:
            near = perhaps(name, list(c.layout.hardware.outputs))
            raise RoutelessError(f"--output: there is no `output {name}`{near}")
        if state not in named.states:
            raise RoutelessError(
                f"--output: {name} is never `{state}`: it is {' or '.join(named.states)}"
                f"{perhaps(state, list(named.states))}"
            )
        return to_switch(c.layout, name, state)
    return None
