"""What `bellcrank new` writes: short, in the usual form, and proved as it stands."""

from __future__ import annotations

from itertools import product

import pytest
from in_campaigns import in_campaigns

import bellcrank
from bellcrank import Sound
from bellcrank.starting.first_layout import first_layout
from bellcrank.starting.track_kinds import TRACK_KINDS
from bellcrank.starting.wishes import (
    KINDS_OF_SIGNALS,
    Decoders,
    Detectors,
    Signals,
    Wish,
    WishError,
)
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.parse import parse

BENCHES = {
    "nothing wired": None,
    "fours": Decoders(),
    "singles from 16, servos": Decoders(outputs=1, first=16, drives="servo"),
    "eights, motors": Decoders(outputs=8, switches=10, drives="motor"),
}

TOLD_OF = {"no detectors": None, "eights": Detectors(), "fours": Detectors(inputs=4)}

SIZES = {
    name: [1] if kind.size is None else sorted({kind.size.least, kind.size.usual, 3, 6, 24}
                                               & set(range(kind.size.least, kind.size.most + 1)))
    for name, kind in TRACK_KINDS.items()
}  # fmt: skip

ALL = [
    (name, size, bench, told)
    for name, sizes in SIZES.items()
    for size, bench, told in product(sizes, BENCHES, TOLD_OF)
    if size < 24 or (bench, told) == ("eights, motors", "fours")
]


def is_long(case: tuple[str, int, str, str]) -> bool:
    _, size, bench, told = case
    return size > 3 or (bench, told) not in {
        ("nothing wired", "no detectors"),
        ("fours", "no detectors"),
        ("fours", "eights"),
    }


def written(name: str, size: int, bench: str, told: str, signals: Signals = "real") -> str:
    kind = TRACK_KINDS[name]
    wish = Wish(kind.title, signals, BENCHES[bench], TOLD_OF[told])
    return first_layout(kind.build(size), wish)


@pytest.mark.parametrize("case", in_campaigns(ALL, is_long), ids=lambda c: "-".join(map(str, c)))
def test_a_first_layout_is_proved_as_it_stands(case: tuple[str, int, str, str]) -> None:
    c = bellcrank.compile(written(*case))
    assert c.diagnostics == ()
    assert isinstance(c, Sound)
    assert bellcrank.prove(c).proved
    imagined = bellcrank.compile(written(*case, "imagined"))
    assert imagined.diagnostics == ()
    assert isinstance(imagined, Sound)  # and what is proved of it is the same
    assert imagined.machine.events == c.machine.events


@pytest.mark.parametrize("case", in_campaigns(ALL, is_long), ids=lambda c: "-".join(map(str, c)))
def test_a_first_layout_is_in_the_usual_form_and_no_line_is_long(
    case: tuple[str, int, str, str],
) -> None:
    for signals in KINDS_OF_SIGNALS:
        text = written(*case, signals)
        source, found = parse(text, "layout.crank")
        assert found == ()
        assert format_source(source) == text
        assert max(map(len, text.splitlines())) <= 100


@pytest.mark.parametrize("name", TRACK_KINDS)
def test_a_first_layout_of_the_usual_size_fits_a_screen(name: str) -> None:
    size = TRACK_KINDS[name].size
    text = written(name, 1 if size is None else size.usual, "fours", "no detectors")
    assert len(text.splitlines()) <= 45
    assert text.startswith("# ")


@pytest.mark.parametrize("name", TRACK_KINDS)
def test_each_drive_and_signal_is_wired_once_and_each_section_reported(name: str) -> None:
    size = SIZES[name][-1]
    plan = TRACK_KINDS[name].build(size)
    c = bellcrank.compile(written(name, size, "fours", "eights"))
    assert isinstance(c, Sound)
    assert set(c.layout.hardware.wirings) == {throw.drive for throw in plan.throws}
    assert set(c.layout.drives) == {throw.drive for throw in plan.throws}
    assert set(c.layout.signals) == set(plan.signals)
    assert set(c.layout.sections) == set(plan.sections)
    assert set(c.layout.reports.sections) == set(plan.sections)


def test_addresses_that_the_switches_cannot_show_are_refused() -> None:
    plan = TRACK_KINDS["terminus"].build(3)
    with pytest.raises(WishError, match="5 switches count no further than 31"):
        first_layout(plan, Wish("T", decoders=Decoders(outputs=1, switches=5, first=29)))


def test_outputs_beyond_the_last_number_are_refused() -> None:
    plan = TRACK_KINDS["slip"].build(1)
    with pytest.raises(WishError, match="there are none above 2040"):
        first_layout(plan, Wish("S", decoders=Decoders(switches=12, first=2037)))
