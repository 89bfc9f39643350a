"""What may have happened unseen: found where it is needed, likeliest first, and undone again."""

from __future__ import annotations

import random
from collections import defaultdict
from pathlib import Path

import pytest
from in_campaigns import in_campaigns
from sound_layouts import compiled_file

from bellcrank.live.unseen import UNLIKELY
from bellcrank.machine.machine_model import Clause, Event, Machine, Variable, is_
from bellcrank.running.explaining import Explaining
from bellcrank.running.stepping import Stepper

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

DOOR = Variable("door", "edge", "door", ("shut", "open"), ("shut",))
ROOM = Variable("room", "track", "room", ("empty", "full"), ("empty",))


def event(name: str, guard: list[Clause], **updates: dict[str, str]) -> Event:
    return Event(name, "enters", "train", "it", name, tuple(guard), updates)


OPENS = event("opens", [(is_(DOOR, "shut"),)], door={"shut": "open"})
SHUTS = event("shuts", [(is_(DOOR, "open"),)], door={"open": "shut"})
COMES = event("comes", [(is_(DOOR, "open"),)], room={"empty": "full"})
BREAKS_IN = event("breaks in", [(is_(ROOM, "empty"),)], room={"empty": "full"})
GOES = event("goes", [(is_(DOOR, "open"),)], room={"full": "empty"})
LIGHT = event("light", [(is_(ROOM, "full"),)])
DARK = event("dark", [(is_(ROOM, "empty"),)])
LOCKED = event("locked", [(is_(DOOR, "shut"),)])

EVENTS = (OPENS, SHUTS, COMES, BREAKS_IN, GOES, LIGHT, DARK, LOCKED)
NUMBER = {each.name: number for number, each in enumerate(EVENTS)}
HOUSE = Machine({"door": DOOR, "room": ROOM}, EVENTS, (), (), (), {})


def seeing(*seen: str, likely: str = "opens shuts comes goes") -> list[str] | None:
    """What must have happened, with what was seen in its place; None if nothing fits."""
    names = {"opens", "shuts", "comes", "goes", "breaks in"}
    unseen = {NUMBER[name]: 0 if name in likely else 3 for name in names}
    explaining = Explaining(HOUSE, unseen)
    explaining.begin([HOUSE.start()])
    for name in seen:
        if not explaining.see([[NUMBER[name]]]):
            return None
    return [EVENTS[number].name for number in explaining.fitting[0].run()]


def test_what_is_seen_and_possible_needs_nothing_unseen() -> None:
    assert seeing("dark", "locked") == ["dark", "locked"]


def test_what_must_have_happened_is_found() -> None:
    assert seeing("light", "locked") == ["opens", "comes", "light", "shuts", "locked"]


def test_the_unlikely_is_thought_of_only_where_nothing_else_fits() -> None:
    assert seeing("light", likely="shuts goes") == ["breaks in", "light"]
    assert seeing("light", likely="opens comes") == ["opens", "comes", "light"]


def test_what_cannot_have_happened_is_not_explained() -> None:
    explaining = Explaining(HOUSE, {NUMBER["opens"]: 0})
    explaining.begin([HOUSE.start()])
    assert not explaining.see([[NUMBER["light"]]])
    assert explaining.state(explaining.fitting[0]) == HOUSE.start()  # all stays as it was
    assert explaining.see([[NUMBER["dark"]]])


def test_of_several_choices_any_may_be_what_was_seen() -> None:
    explaining = Explaining(HOUSE, {NUMBER["opens"]: 0})
    explaining.begin([HOUSE.start()])
    assert explaining.see([[NUMBER["light"], NUMBER["dark"]]])
    assert [EVENTS[n].name for n in explaining.fitting[0].run()] == ["dark"]


def test_what_would_be_lost_by_what_is_seen_may_have_happened_before_it() -> None:
    """The door is bolted for ever; somebody may have come in before, of which only the light tells
    later."""
    bolt = Variable("bolt", "edge", "bolt", ("drawn", "shot"), ("drawn",))
    comes = event("comes", [(is_(bolt, "drawn"),)], room={"empty": "full"})
    shot = event("shot", [], bolt={"drawn": "shot"})
    house = Machine({"bolt": bolt, "room": ROOM}, (comes, shot, LIGHT), (), (), (), {})
    explaining = Explaining(house, {0: 0})
    explaining.begin([house.start()])
    assert explaining.see([[1]])
    assert len(explaining.fitting) == 2
    assert explaining.see([[2]])
    assert explaining.fitting[0].run() == [0, 1, 2]


@pytest.mark.parametrize(
    "example",
    in_campaigns(EXAMPLES, lambda path: path.stem not in ("harbour-terminus", "turning-loop")),
    ids=lambda path: path.stem,
)
@pytest.mark.parametrize("seed", [1])
def test_what_really_happened_always_fits_where_all_is_detected(example, seed: int) -> None:
    """Random runs of controller and railway, of which only what the controller hears is seen."""
    c = compiled_file(example)
    if not all(section.detected for section in c.layout.sections.values()):
        pytest.skip("what nobody reports may have been done by hand in too many ways")
    machine = c.composed
    reactions = {pair.reaction.name for pair in c.control.paired}
    unseen, reported = {}, defaultdict(list)
    for number, event in enumerate(machine.events):
        if event.kind in UNLIKELY and event.name not in reactions:
            said = [v for v in event.updates if machine.variables[v].kind == "report"]
            if said:
                reported[said[0]].append(number)
            else:
                unseen[number] = UNLIKELY[event.kind]
    stepper, rng = Stepper(machine), random.Random(seed)
    explaining = Explaining(machine, unseen)
    explaining.begin([dict(stepper.state)])
    seldom = {"put down": 0.05, "stands": 0.03, "uncoupled": 0.02, "cancel": 0.05}
    for _ in range(400):
        able = sorted(stepper.possible)
        [number] = rng.choices(able, [seldom.get(machine.events[n].kind, 1.0) for n in able])
        stepper.do(number)
        at_once = [n for numbers in reported.values() if number in numbers for n in numbers]
        if number not in unseen:
            assert explaining.see([at_once or [number]]), machine.events[number].name
