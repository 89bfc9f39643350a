"""Strategies that make any syntax tree the language can say.

Every statement, rule and run item has its strategy in a table by type, so that
a test can hold the tables to the tree's own unions. Spans all name one place:
trees are compared by what they say.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, get_args

from hypothesis import strategies as st

from bellcrank.diagnostics import Span
from bellcrank.syntax import tree as t

SPAN = Span("x", 1, 1, 1, 2)

NAMES = (
    "A B P1 S1 12A 4 0 two _ _x T_1 W1 G1 north LONGER_NAME_OF_A_SIDING end1 a2 straight "
    "Gleis_3 Ü Überwerfung Rangierbahnhof_Süd Пост Ж2 東1 駅 θ Łódź ñ Ⅳ ²x"
).split()
"""Words that may be names in any place, digits first and from many alphabets."""

DURATIONS = ["200 ms", "1.5 s", "3s", "250", "0.25 ms", "2 fortnights", "7\tms", "12 µs"]

AMOUNTS = ["16 V", "1.5A", "800 mA", "4700 uF", "4700 \u03bcF", "100 ohm", "6 m", "3", "2 bananas"]

TEXTS = ["", "Home", "Marsh Halt", "a/b c.crank", "# no comment", "Süd {", "x - y,", "‘'"]


def words() -> st.SearchStrategy[t.Word]:
    return st.builds(t.Word, st.just(SPAN), st.sampled_from(NAMES))


def durations() -> st.SearchStrategy[t.Word]:
    return st.builds(t.Word, st.just(SPAN), st.sampled_from(DURATIONS))


def amounts() -> st.SearchStrategy[t.Word]:
    return st.builds(t.Word, st.just(SPAN), st.sampled_from(AMOUNTS))


def texts() -> st.SearchStrategy[t.Word]:
    return st.builds(t.Word, st.just(SPAN), st.sampled_from(TEXTS))


def number(text: str) -> st.SearchStrategy[t.Word]:
    return st.just(t.Word(SPAN, text))


def some(of: st.SearchStrategy[Any], least: int = 1, most: int = 4) -> st.SearchStrategy[Any]:
    return st.lists(of, min_size=least, max_size=most).map(tuple)


def maybe(of: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | of


def node(kind: type[t.Node], *parts: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.builds(kind, st.just(SPAN), *parts)


FLAG = st.booleans()

KIND_PHRASES = node(t.KindPhrase, some(words(), most=3), some(words(), least=0, most=3))
DRIVE_NAMES = node(t.DriveName, words(), maybe(words()))
OUTPUTS = node(t.Output, words(), words())
OUTLETS = OUTPUTS | node(t.FreeOutput, words())
INLETS = st.one_of(
    node(t.Input, words(), words()), node(t.NamedInput, texts()), node(t.FreeInput, words())
)
DEMANDS = node(t.Demand, DRIVE_NAMES, words())
PASSINGS = node(t.Passing, words(), maybe(words()))
WAYS = node(t.RouteWay, words(), words(), some(PASSINGS, least=0, most=3), FLAG)
ROUTES = node(t.RouteByName, words()) | WAYS

RUN_ITEMS: dict[type[t.Node], st.SearchStrategy[Any]] = {
    t.Edge: node(t.Edge, words()),
    t.Stop: node(t.Stop),
    t.SignalHere: node(t.SignalHere, words(), FLAG),
    t.Piece: node(t.Piece, words()),
    t.LegHere: node(t.LegHere, words(), words()),
}

FITTING_PARTS: dict[type[t.Node], st.SearchStrategy[Any]] = {
    t.Legs: node(t.Legs, some(words())),
    t.FittingDrive: node(t.FittingDrive, maybe(words()), some(words())),
    t.Way: node(
        t.Way,
        words(),
        words(),
        some(node(t.WayCondition, maybe(words()), words()), least=0, most=3),
    ),
    t.FittingFrog: node(t.FittingFrog, maybe(words()), words(), words()),
    t.FittingDrawing: node(t.FittingDrawing, st.sampled_from(get_args(t.Table))),
}

NEED_WORDS = node(
    t.NeedWord,
    words(),
    maybe(words()),
    words() | st.sampled_from(["clear", "set"]).map(lambda text: t.Word(SPAN, text)),
)

RULES: dict[type[t.Node], st.SearchStrategy[Any]] = {
    t.LocksRule: node(t.LocksRule, ROUTES, some(ROUTES), some(DEMANDS, least=0)),
    t.NeedsRule: node(t.NeedsRule, ROUTES, some(NEED_WORDS | node(t.NeedRoute, WAYS))),
    t.EveryPositions: node(t.EveryPositions),
    t.EverySectionsClear: node(t.EverySectionsClear),
    t.EveryDriveClear: node(t.EveryDriveClear),
    t.OnlyOneRule: node(t.OnlyOneRule, some(ROUTES, least=2)),
    t.OnlyOneOverRule: node(t.OnlyOneOverRule, some(words())),
}

ASPECTS = st.one_of(
    node(t.Aspect, words(), st.just(()), maybe(words()), FLAG),
    node(t.Aspect, words(), some(node(t.LitLamp, OUTPUTS, words(), FLAG)), maybe(words())),
)


def settings(*own: str) -> st.SearchStrategy[tuple[t.KindSetting, ...]]:
    """Settings of a kind of decoder or detector, each once at most, in any order.

    own: those with one word that the other sort has not."""
    counts = {"switches": 1, "rotary": 2, "inverted": 0, "range": 2}
    each = {keyword: some(words(), count, count) for keyword, count in counts.items()}
    each |= {keyword: some(words(), 1, 2) for keyword in ("counts", "from")}
    each |= {keyword: some(words(), 1, 1) for keyword in own}
    each["weights"] = some(words(), most=20)
    sides = st.lists(words(), min_size=1, max_size=3, unique=True)
    each["terminals"] = sides.flatmap(
        lambda names: st.tuples(*(part for name in names for part in (st.just(name), texts())))
    )
    if "outputs" in own:
        each |= {"set by variables": st.just(()), "address variables": some(words(), 2, 2)}
        each["on times"] = st.tuples(words(), durations())
        each |= {f"variable {n}": st.tuples(number(n), words()) for n in ("3", "33")}
    # Of switches that stand fixed there may be several, each with its own number.
    each |= {f"switch {n}": st.tuples(number(n), words()) for n in ("1", "9", "10")}
    keywords = st.lists(st.sampled_from(sorted(each)), unique=True)
    return keywords.flatmap(
        lambda chosen: st.tuples(
            *(node(t.KindSetting, st.just(k.rstrip(" 0123456789")), each[k]) for k in chosen)
        )
    )


def drive_lines() -> st.SearchStrategy[t.DriveLine]:
    actions = st.sampled_from(["coil", "motor", "servo"]).map(lambda text: t.Word(SPAN, text))
    no, yes, none = st.just(False), st.just(True), st.none()
    nowhere, outputs = st.just(()), some(OUTLETS, most=3)
    rest = (maybe(durations()), maybe(durations()), some(texts(), least=0, most=12))
    wired = st.one_of(
        node(t.DriveLine, DRIVE_NAMES, outputs, no, none, none, FLAG, FLAG, *rest),
        node(t.DriveLine, DRIVE_NAMES, outputs, no, actions, durations(), FLAG, FLAG, *rest),
        placed_drive_lines(),
    )
    return st.one_of(
        node(t.DriveLine, DRIVE_NAMES, nowhere, yes, none, none, no, FLAG),
        node(t.DriveLine, DRIVE_NAMES, nowhere, no, none, none, no, yes),
        st.builds(lambda line, takes: replace(line, takes=takes), wired, maybe(amounts())),
    )


def placed_drive_lines() -> st.SearchStrategy[t.DriveLine]:
    """Drives of which each position has a side of an output of its own, or a value."""
    by_side = some(node(t.DrivePlace, words(), OUTLETS, words(), st.none()), most=9)
    by_value = some(node(t.DrivePlace, words(), st.none(), st.none(), words()), most=9)

    def line(
        drive: t.DriveName,
        places: tuple[t.DrivePlace, ...],
        output: t.Outlet,
        held_on: bool,
        one_at_each: bool,
    ) -> t.DriveLine:
        own = tuple(p.output for p in places if p.output is not None)
        return t.DriveLine(
            SPAN, drive, own or (output,), False, None, None, False, False,
            places=places, held_on=held_on, one_at_each=one_at_each,
        )  # fmt: skip

    return st.builds(line, DRIVE_NAMES, by_side | by_value, OUTLETS, FLAG, FLAG)


def expectations() -> st.SearchStrategy[t.ExpectLine]:
    return st.one_of(
        node(t.ExpectLine, some(ROUTES, least=2), st.just(False)),
        node(t.ExpectLine, some(ROUTES, least=2, most=2), st.just(True)),
    )


def time_lines() -> st.SearchStrategy[t.TimeLine]:
    signals = some(node(t.DriveName, words(), st.none()), least=0, most=24)
    others = some(DRIVE_NAMES, least=0, most=24)
    return st.one_of(
        node(t.TimeLine, st.sampled_from(["approach locking", "overlap"]), durations(), signals),
        node(t.TimeLine, st.sampled_from(["drive", "report"]), durations(), others),
    )


BESIDE = node(t.BesideTrack, st.sampled_from(["above", "below", "beside"]), some(words(), most=24))

STATEMENTS: dict[type[t.Node], st.SearchStrategy[Any]] = {
    t.LayoutLine: node(t.LayoutLine, st.sampled_from(TEXTS), maybe(words()), FLAG),
    t.UseLine: node(t.UseLine, node(t.Word, st.sampled_from(TEXTS))),
    t.FittingDefinition: node(
        t.FittingDefinition, KIND_PHRASES, some(st.one_of(*FITTING_PARTS.values()), least=0)
    ),
    t.Declaration: node(t.Declaration, KIND_PHRASES, some(words())),
    t.CoupledLine: node(t.CoupledLine, some(DRIVE_NAMES, least=2)),
    t.RunLine: node(t.RunLine, some(st.one_of(*RUN_ITEMS.values()), most=24)),
    t.SectionLine: node(t.SectionLine, words(), some(words(), most=24), FLAG),
    t.ReverserLine: node(t.ReverserLine, some(words())),
    t.DrawLine: node(t.DrawLine, some(words(), least=2)),
    t.BridgeLine: node(t.BridgeLine, words(), some(words(), most=24)),
    t.PlatformLine: node(t.PlatformLine, node(t.Word, st.sampled_from(TEXTS)), BESIDE),
    t.NoteLine: node(t.NoteLine, node(t.Word, st.sampled_from(TEXTS)), maybe(BESIDE)),
    t.SignalLine: node(
        t.SignalLine,
        words(),
        FLAG,
        some(ASPECTS, least=0),
        maybe(OUTLETS),
        some(words(), least=0, most=3),
    ),
    t.ImaginedLine: node(t.ImaginedLine, some(words())),
    t.OverlapLine: node(t.OverlapLine, words(), some(words())),
    t.FlankDerive: node(t.FlankDerive),
    t.FlankWritten: node(t.FlankWritten, ROUTES, some(DEMANDS)),
    t.RoutesDerive: node(t.RoutesDerive, maybe(words())),
    t.RoutesWritten: node(t.RoutesWritten),
    t.RouteLine: node(t.RouteLine, maybe(words()), WAYS, maybe(words())),
    t.LockingLine: node(t.LockingLine, FLAG, some(st.one_of(*RULES.values()), least=0)),
    t.ReleaseLine: node(t.ReleaseLine, FLAG),
    t.ExpectLine: expectations(),
    t.NumberingLine: node(t.NumberingLine, words()),
    t.DecoderKindLine: node(
        t.DecoderKindLine, words(), settings("outputs", "packets", "pulses", "lamps", "learns")
    ),
    t.OutputLine: st.one_of(
        node(
            t.OutputLine,
            words(),
            some(words(), least=0, most=2),
            OUTLETS,
            maybe(words()),
            st.none(),
            st.none(),
        ),
        node(
            t.OutputLine,
            words(),
            some(words(), least=0, most=2),
            OUTLETS,
            maybe(words()),
            st.sampled_from(["coil", "motor", "servo"]).map(lambda text: t.Word(SPAN, text)),
            durations(),
        ),
    ),
    t.DecoderLine: node(t.DecoderLine, words(), words(), maybe(words())),
    t.DriveLine: drive_lines(),
    t.SupplyLine: node(
        t.SupplyLine,
        words(),
        some(words(), least=0),
        maybe(words()),
        maybe(durations()),
        some(amounts(), least=0),
        maybe(amounts()),
        st.one_of(st.just(()), some(amounts(), least=2, most=2)),
        maybe(amounts()),
    ),
    t.DistrictLine: st.one_of(
        node(
            t.DistrictLine,
            words(),
            some(words(), least=0),
            st.just(False),
            some(amounts(), least=0),
            maybe(amounts()),
            maybe(amounts()),
        ),
        node(t.DistrictLine, words(), st.just(()), st.just(True)),
    ),
    t.DetectorKindLine: node(t.DetectorKindLine, words(), settings("inputs")),
    t.DetectorLine: node(t.DetectorLine, words(), words(), maybe(words())),
    t.ReportLine: node(t.ReportLine, DRIVE_NAMES, maybe(words()), INLETS, st.booleans()),
    t.ButtonLine: node(t.ButtonLine, ROUTES, FLAG, INLETS),
    t.LampLine: node(t.LampLine, ROUTES, OUTLETS, words()),
    t.TimeLine: time_lines(),
    t.FrogWired: node(t.FrogWired, DRIVE_NAMES, OUTLETS, FLAG),
    t.FrogFed: node(
        t.FrogFed,
        some(DRIVE_NAMES, most=24),
        st.sampled_from(["drive", "reverser", "dead"]),
    ),
}


def statements() -> st.SearchStrategy[t.Statement]:
    return st.one_of(*STATEMENTS.values())


def sources() -> st.SearchStrategy[t.SourceFile]:
    """Whole trees. The statements stand on one line, so no blank lines part them."""
    return st.builds(t.SourceFile, st.just("x"), some(statements(), least=0, most=6))
