"""From the parser's raw tree to the nodes of `tree`, each with its span."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, get_args

from lark import Token, Transformer, v_args
from lark.tree import Meta

from bellcrank.diagnostics import Collector, Span
from bellcrank.syntax import tree as t

WHERE: tuple[t.WhereDrawn, ...] = get_args(t.WhereDrawn)
TABLES: tuple[t.Table, ...] = get_args(t.Table)


def token_span(token: Token, file: str, line_offset: int) -> Span:
    """Where a token stands in its file."""
    line = token.line or 1
    column = token.column or 1
    return Span(
        file,
        line + line_offset,
        column,
        (token.end_line or line) + line_offset,
        token.end_column or column + len(token),
    )


@v_args(meta=True)
class Builder(Transformer[Token, Any]):
    """Makes nodes bottom-up. Reports what the grammar alone cannot refuse."""

    def __init__(self, file: str, line_offset: int, found: Collector) -> None:
        super().__init__(visit_tokens=True)
        self._file = file
        self._line_offset = line_offset
        self._found = found

    def __default_token__(self, token: Token) -> t.Word:
        return t.Word(token_span(token, self._file, self._line_offset), str(token))

    def _span(self, meta: Meta) -> Span:
        if meta.empty:
            return Span(self._file, 1 + self._line_offset, 1, 1 + self._line_offset, 1)
        return Span(
            self._file,
            meta.line + self._line_offset,
            meta.column,
            meta.end_line + self._line_offset,
            meta.end_column,
        )

    # ------------------------------------------------------------- the whole

    def file(self, meta: Meta, children: list[Any]) -> list[t.Statement]:
        return [c for c in children if c is not None]

    def layout_line(self, meta: Meta, children: list[Any]) -> t.LayoutLine:
        title, rails, without = children
        return t.LayoutLine(self._span(meta), title.text[1:-1], rails, without is not None)

    def without_detection(self, meta: Meta, children: list[Any]) -> bool:
        return True

    def use_line(self, meta: Meta, children: list[Any]) -> t.UseLine:
        return t.UseLine(self._span(meta), _unquoted(children[0]))

    # -------------------------------------------------------------- fittings

    def words(self, meta: Meta, children: list[t.Word]) -> list[t.Word]:
        return children

    def with_words(self, meta: Meta, children: list[t.Word]) -> list[t.Word]:
        return children

    def fitting_definition(self, meta: Meta, children: list[Any]) -> t.FittingDefinition:
        words, with_words, *parts = children
        return t.FittingDefinition(self._span(meta), _phrase(words, with_words), tuple(parts))

    def legs(self, meta: Meta, children: list[t.Word]) -> t.Legs:
        return t.Legs(self._span(meta), tuple(children))

    def fitting_drive(self, meta: Meta, children: list[Any]) -> t.FittingDrive:
        name, *positions = children
        return t.FittingDrive(self._span(meta), name, tuple(positions))

    def way(self, meta: Meta, children: list[Any]) -> t.Way:
        first, second, when = children
        return t.Way(self._span(meta), first, second, tuple(when or ()))

    def way_when(self, meta: Meta, children: list[t.WayCondition]) -> list[t.WayCondition]:
        return children

    def position_alone(self, meta: Meta, children: list[t.Word]) -> t.WayCondition:
        return t.WayCondition(self._span(meta), None, children[0])

    def drive_and_position(self, meta: Meta, children: list[t.Word]) -> t.WayCondition:
        return t.WayCondition(self._span(meta), children[0], children[1])

    def fitting_frog(self, meta: Meta, children: list[Any]) -> t.FittingFrog:
        return t.FittingFrog(self._span(meta), *children)

    def fitting_drawing(self, meta: Meta, children: list[t.Word]) -> t.FittingDrawing:
        (table,) = (each for each in TABLES if each == children[0].text)
        return t.FittingDrawing(self._span(meta), table)

    def declaration(self, meta: Meta, children: list[Any]) -> t.Declaration | None:
        words, *more, with_words = children
        if len(words) < 2:
            self._found.report(
                "E101",
                f"`{words[0]}` stands alone: it starts no statement and names no fitting",
                words[0].span,
                expected="a kind of fitting and a name, such as `points P1`, or another statement",
            )
            return None
        kind = _phrase(words[:-1], with_words)
        return t.Declaration(self._span(meta), kind, (words[-1], *more))

    def drive_name(self, meta: Meta, children: list[Any]) -> t.DriveName:
        element, drive = children
        return t.DriveName(self._span(meta), element, drive)

    def coupled_line(self, meta: Meta, children: list[t.DriveName]) -> t.CoupledLine:
        return t.CoupledLine(self._span(meta), tuple(children))

    # ----------------------------------------------------------------- track

    def run_line(self, meta: Meta, children: list[t.RunItem]) -> t.RunLine:
        return t.RunLine(self._span(meta), tuple(children))

    def edge(self, meta: Meta, children: list[t.Word]) -> t.Edge:
        return t.Edge(self._span(meta), children[0])

    def stop(self, meta: Meta, children: list[t.Word]) -> t.Stop:
        return t.Stop(self._span(meta))

    def signal_rightwards(self, meta: Meta, children: list[t.Word]) -> t.SignalHere:
        return t.SignalHere(self._span(meta), children[0], rightwards=True)

    def signal_leftwards(self, meta: Meta, children: list[t.Word]) -> t.SignalHere:
        return t.SignalHere(self._span(meta), children[0], rightwards=False)

    def piece(self, meta: Meta, children: list[t.Word]) -> t.Piece:
        return t.Piece(self._span(meta), children[0])

    def leg(self, meta: Meta, children: list[t.Word]) -> t.LegHere:
        return t.LegHere(self._span(meta), children[0], children[1])

    def section_line(self, meta: Meta, children: list[Any]) -> t.SectionLine:
        name, *elements, without = children
        return t.SectionLine(self._span(meta), name, tuple(elements), without is not None)

    def reverser_line(self, meta: Meta, children: list[t.Word]) -> t.ReverserLine:
        return t.ReverserLine(self._span(meta), tuple(children))

    def draw_line(self, meta: Meta, children: list[t.Word]) -> t.DrawLine:
        return t.DrawLine(self._span(meta), tuple(children))

    def bridge_line(self, meta: Meta, children: list[t.Word]) -> t.BridgeLine:
        upper, *lower = children
        return t.BridgeLine(self._span(meta), upper, tuple(lower))

    def beside_track(self, meta: Meta, children: list[t.Word]) -> t.BesideTrack:
        word, *names = children
        (where,) = (each for each in WHERE if each == word.text)
        return t.BesideTrack(self._span(meta), where, tuple(names))

    def platform_line(self, meta: Meta, children: list[Any]) -> t.PlatformLine:
        label, place = children
        return t.PlatformLine(self._span(meta), _unquoted(label), place)

    def note_line(self, meta: Meta, children: list[Any]) -> t.NoteLine:
        text, place = children
        return t.NoteLine(self._span(meta), _unquoted(text), place)

    # --------------------------------------------------------------- signals

    def output(self, meta: Meta, children: list[t.Word]) -> t.Output:
        return t.Output(self._span(meta), children[0], children[1])

    def free_output(self, meta: Meta, children: list[t.Word]) -> t.FreeOutput:
        return t.FreeOutput(self._span(meta), children[0])

    def aspect(self, meta: Meta, children: list[Any]) -> t.Aspect:
        name, value, *shown = children
        lamps = tuple(each for each in shown if isinstance(each, t.LitLamp))
        return t.Aspect(self._span(meta), name, lamps, value, any(shown) and not lamps)

    def lit_lamp(self, meta: Meta, children: list[Any]) -> t.LitLamp:
        output, side, blinking = children
        return t.LitLamp(self._span(meta), output, side, blinking is not None)

    def aspects(self, meta: Meta, children: list[t.Aspect]) -> list[t.Aspect]:
        return children

    def signal_line(self, meta: Meta, children: list[Any]) -> t.SignalLine:
        name, shunt, aspects, output, repeaters = children
        return t.SignalLine(
            self._span(meta),
            name,
            shunt is not None,
            tuple(aspects or ()),
            output,
            tuple(repeaters or ()),
        )

    def imagined_line(self, meta: Meta, children: list[Any]) -> t.ImaginedLine:
        *signals, _ = children
        return t.ImaginedLine(self._span(meta), tuple(signals))

    def repeaters(self, meta: Meta, children: list[t.Word]) -> list[t.Word]:
        return children

    def overlap_line(self, meta: Meta, children: list[t.Word]) -> t.OverlapLine:
        return t.OverlapLine(self._span(meta), children[0], tuple(children[1:]))

    def flank_derive(self, meta: Meta, children: list[Any]) -> t.FlankDerive:
        return t.FlankDerive(self._span(meta))

    def flank_written(self, meta: Meta, children: list[Any]) -> t.FlankWritten:
        return t.FlankWritten(self._span(meta), children[0], tuple(children[1:]))

    def demand(self, meta: Meta, children: list[Any]) -> t.Demand:
        return t.Demand(self._span(meta), children[0], children[1])

    # ---------------------------------------------------------------- routes

    def routes_derive(self, meta: Meta, children: list[Any]) -> t.RoutesDerive:
        return t.RoutesDerive(self._span(meta), children[1])

    def routes_written(self, meta: Meta, children: list[Any]) -> t.RoutesWritten:
        return t.RoutesWritten(self._span(meta))

    def route_line(self, meta: Meta, children: list[Any]) -> t.RouteLine:
        name, way, shows = children
        return t.RouteLine(self._span(meta), name, way, shows)

    def via(self, meta: Meta, children: list[t.Passing]) -> list[t.Passing]:
        return children

    def passing(self, meta: Meta, children: list[Any]) -> t.Passing:
        return t.Passing(self._span(meta), children[0], children[1])

    def calling_on(self, meta: Meta, children: list[Any]) -> bool:
        return True

    def route_way(self, meta: Meta, children: list[Any]) -> t.RouteWay:
        start, end, via, calling_on = children
        return t.RouteWay(self._span(meta), start, end, tuple(via or ()), calling_on is not None)

    def route_ref(self, meta: Meta, children: list[Any]) -> t.RouteRef:
        way: t.RouteWay = children[0]
        return way

    def route_by_name(self, meta: Meta, children: list[t.Word]) -> t.RouteByName:
        return t.RouteByName(self._span(meta), children[0])

    # --------------------------------------------------------------- locking

    def locking_derive(self, meta: Meta, children: list[Any]) -> t.LockingLine:
        return t.LockingLine(self._span(meta), True, tuple(c for c in children[1:] if c))

    def locking_written(self, meta: Meta, children: list[Any]) -> t.LockingLine:
        return t.LockingLine(self._span(meta), False, tuple(children))

    def route_list(self, meta: Meta, children: list[t.RouteRef]) -> list[t.RouteRef]:
        return children

    def when(self, meta: Meta, children: list[t.Demand]) -> list[t.Demand]:
        return children

    def locks_rule(self, meta: Meta, children: list[Any]) -> t.LocksRule:
        route, others, when = children
        return t.LocksRule(self._span(meta), route, tuple(others), tuple(when or ()))

    def needs_rule(self, meta: Meta, children: list[Any]) -> t.NeedsRule:
        return t.NeedsRule(self._span(meta), children[0], tuple(children[1:]))

    def need_word(self, meta: Meta, children: list[t.Word]) -> t.NeedWord:
        return t.NeedWord(self._span(meta), children[0], None, children[1])

    def need_part(self, meta: Meta, children: list[t.Word]) -> t.NeedWord:
        return t.NeedWord(self._span(meta), children[0], children[1], children[2])

    def need_route(self, meta: Meta, children: list[t.RouteWay]) -> t.NeedRoute:
        return t.NeedRoute(self._span(meta), children[0])

    def every_positions(self, meta: Meta, children: list[Any]) -> t.EveryPositions:
        return t.EveryPositions(self._span(meta))

    def every_sections_clear(self, meta: Meta, children: list[Any]) -> t.EverySectionsClear:
        return t.EverySectionsClear(self._span(meta))

    def every_drive_clear(self, meta: Meta, children: list[Any]) -> t.EveryDriveClear:
        return t.EveryDriveClear(self._span(meta))

    def only_one_rule(self, meta: Meta, children: list[t.RouteRef]) -> t.OnlyOneRule:
        return t.OnlyOneRule(self._span(meta), tuple(children))

    def only_one_over_rule(self, meta: Meta, children: list[t.Word]) -> t.OnlyOneOverRule:
        return t.OnlyOneOverRule(self._span(meta), tuple(children))

    def release_by_section(self, meta: Meta, children: list[Any]) -> t.ReleaseLine:
        return t.ReleaseLine(self._span(meta), by_section=True)

    def release_whole(self, meta: Meta, children: list[Any]) -> t.ReleaseLine:
        return t.ReleaseLine(self._span(meta), by_section=False)

    def expect_with(self, meta: Meta, children: list[t.RouteRef]) -> t.ExpectLine:
        return t.ExpectLine(self._span(meta), tuple(children), never=False)

    def expect_never(self, meta: Meta, children: list[t.RouteRef]) -> t.ExpectLine:
        return t.ExpectLine(self._span(meta), tuple(children), never=True)

    # -------------------------------------------------------------- hardware

    def numbering_line(self, meta: Meta, children: list[t.Word]) -> t.NumberingLine:
        return t.NumberingLine(self._span(meta), children[0])

    def decoder_kind(self, meta: Meta, children: list[Any]) -> t.DecoderKindLine:
        return t.DecoderKindLine(self._span(meta), children[0], self._settings(children[1:]))

    def _settings(self, children: Sequence[t.KindSetting]) -> tuple[t.KindSetting, ...]:
        settings = tuple(children)
        # Each switch that stands fixed has a setting of its own, and so has each variable.
        self._once(
            [
                (
                    f"`{s.keyword} {s.words[0]}`"
                    if s.keyword in ("switch", "variable")
                    else f"`{s.keyword}`",
                    s.span,
                )
                for s in settings
            ]
        )
        return settings

    def kind_outputs(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "outputs", tuple(children))

    def kind_switches(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "switches", tuple(children))

    def kind_rotary(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "rotary", tuple(children))

    def kind_weights(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "weights", tuple(children))

    def kind_switch(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "switch", tuple(children))

    def kind_counts(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "counts", _said(children))

    def kind_from(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "from", _said(children))

    def kind_inverted(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "inverted", ())

    def kind_range(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "range", tuple(children))

    def kind_packets(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "packets", tuple(children))

    def kind_pulses(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "pulses", tuple(children))

    def kind_lamps(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "lamps", tuple(children))

    def kind_by_variables(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "set by variables", ())

    def kind_address_variables(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "address variables", tuple(children))

    def kind_on_times(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "on times", tuple(children))

    def kind_variable(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "variable", tuple(children))

    def kind_learns(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "learns", tuple(children))

    def kind_terminals(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        sides, texts = children[::2], children[1::2]
        self._once([(f"`{side}`", side.span) for side in sides])
        words = [
            w for side, text in zip(sides, texts, strict=True) for w in (side, _unquoted(text))
        ]
        return t.KindSetting(self._span(meta), "terminals", tuple(words))

    def decoder_line(self, meta: Meta, children: list[Any]) -> t.DecoderLine:
        return t.DecoderLine(self._span(meta), *children)

    def drive_action(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "action", self._span(meta), children  # coil, motor or servo, and a time

    def drive_held_on(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "held on", self._span(meta), children

    def drive_one_at_each(
        self, meta: Meta, children: list[t.Word]
    ) -> tuple[str, Span, list[t.Word]]:
        return "one at each", self._span(meta), children

    def drive_place(self, meta: Meta, children: list[Any]) -> t.DrivePlace:
        position, output, side = children
        return t.DrivePlace(self._span(meta), position, output, side, None)

    def drive_value(self, meta: Meta, children: list[t.Word]) -> t.DrivePlace:
        position, value = children
        return t.DrivePlace(self._span(meta), position, None, None, value)

    def drive_crossed(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "crossed", self._span(meta), children

    def drive_detected(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "detected", self._span(meta), children

    def drive_settles(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "settles", self._span(meta), children

    def drive_rests(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "rests", self._span(meta), children

    def drive_takes(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "takes", self._span(meta), children

    def drive_wires(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "wires", self._span(meta), [_unquoted(word) for word in children]

    def drive_placed(self, meta: Meta, children: list[Any]) -> t.DriveLine:
        return self.drive_wired(meta, children)

    def drive_valued(self, meta: Meta, children: list[Any]) -> t.DriveLine:
        return self.drive_wired(meta, children)

    def drive_wired(self, meta: Meta, children: list[Any]) -> t.DriveLine:
        drive = children[0]
        places = tuple(c for c in children[1:] if isinstance(c, t.DrivePlace))
        outputs: tuple[t.Outlet, ...] = tuple(c for c in children[1:] if isinstance(c, t.Outlet))
        outputs = outputs or tuple(p.output for p in places if p.output is not None)
        options = [c for c in children[1:] if isinstance(c, tuple)]
        self._once([(_OPTIONS[name], span) for name, span, _ in options])
        said = {name: words for name, _, words in options}
        action, duration = said.get("action", (None, None))
        return t.DriveLine(
            self._span(meta),
            drive,
            outputs,
            False,
            action,
            duration,
            crossed="crossed" in said,
            detected="detected" in said,
            settles=said.get("settles", (None,))[0],
            rests=said.get("rests", (None,))[0],
            wires=tuple(said.get("wires", ())),
            places=places,
            held_on="held on" in said,
            one_at_each="one at each" in said,
            takes=said.get("takes", (None,))[0],
        )

    def drive_by_hand(self, meta: Meta, children: list[Any]) -> t.DriveLine:
        drive, detected = children
        return _unwired(self._span(meta), drive, by_hand=True, detected=detected is not None)

    def drive_reports(self, meta: Meta, children: list[Any]) -> t.DriveLine:
        return _unwired(self._span(meta), children[0], by_hand=False, detected=True)

    def supply_line(self, meta: Meta, children: list[Any]) -> t.SupplyLine:
        name, *settings = children
        self._once([(f"`{keyword}`", span) for keyword, span, _ in settings])
        said = {keyword: words for keyword, _, words in settings}
        return t.SupplyLine(
            self._span(meta),
            name,
            tuple(said.get("feeds", ())),
            said.get("at a time", (None,))[0],
            said.get("rest", (None,))[0],
            tuple(said.get("gives", ())),
            said.get("fuse", (None,))[0],
            tuple(said.get("capacitor", ())),
            said.get("wires", (None,))[0],
        )

    def supply_feeds(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "feeds", self._span(meta), children

    def supply_at_a_time(
        self, meta: Meta, children: list[t.Word]
    ) -> tuple[str, Span, list[t.Word]]:
        return "at a time", self._span(meta), children

    def supply_rest(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "rest", self._span(meta), children

    def supply_gives(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "gives", self._span(meta), children

    def supply_fuse(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "fuse", self._span(meta), children

    def supply_capacitor(
        self, meta: Meta, children: list[t.Word]
    ) -> tuple[str, Span, list[t.Word]]:
        return "capacitor", self._span(meta), children

    def supply_wires(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "wires", self._span(meta), children

    def district_line(self, meta: Meta, children: list[Any]) -> t.DistrictLine:
        name, *settings = children
        self._once([(f"`{keyword}`", span) for keyword, span, _ in settings])
        said = {keyword: words for keyword, _, words in settings}
        return t.DistrictLine(
            self._span(meta),
            name,
            tuple(said.get("feeds") or ()),
            "feeds" in said and not said["feeds"],
            tuple(said.get("gives", ())),
            said.get("fuse", (None,))[0],
            said.get("wires", (None,))[0],
        )

    def district_feeds(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "feeds", self._span(meta), children

    def district_rest(self, meta: Meta, children: list[t.Word]) -> tuple[str, Span, list[t.Word]]:
        return "feeds", self._span(meta), []

    # ------------------------------------------------- detectors and the panel

    def detector_kind(self, meta: Meta, children: list[Any]) -> t.DetectorKindLine:
        return t.DetectorKindLine(self._span(meta), children[0], self._settings(children[1:]))

    def kind_inputs(self, meta: Meta, children: list[t.Word]) -> t.KindSetting:
        return t.KindSetting(self._span(meta), "inputs", tuple(children))

    def detector_line(self, meta: Meta, children: list[Any]) -> t.DetectorLine:
        return t.DetectorLine(self._span(meta), *children)

    def input(self, meta: Meta, children: list[t.Word]) -> t.Input:
        return t.Input(self._span(meta), children[0], children[1])

    def named_input(self, meta: Meta, children: list[t.Word]) -> t.NamedInput:
        return t.NamedInput(self._span(meta), _unquoted(children[0]))

    def free_input(self, meta: Meta, children: list[t.Word]) -> t.FreeInput:
        return t.FreeInput(self._span(meta), children[0])

    def report_line(self, meta: Meta, children: list[Any]) -> t.ReportLine:
        what, position, inlet, opens = children
        return t.ReportLine(self._span(meta), what, position, inlet, opens is not None)

    def to_cancel(self, meta: Meta, children: list[Any]) -> bool:
        return True

    def button_line(self, meta: Meta, children: list[Any]) -> t.ButtonLine:
        cancels, what, inlet = children
        return t.ButtonLine(self._span(meta), what, cancels is not None, inlet)

    def lamp_line(self, meta: Meta, children: list[Any]) -> t.LampLine:
        return t.LampLine(self._span(meta), *children)

    def output_states(self, meta: Meta, children: list[t.Word]) -> list[t.Word]:
        return [word for word in children if word is not None]

    def output_action(self, meta: Meta, children: list[t.Word]) -> list[t.Word]:
        return children

    def output_line(self, meta: Meta, children: list[Any]) -> t.OutputLine:
        name, states, output, side, action = children
        how, duration = action or (None, None)
        return t.OutputLine(
            self._span(meta), name, tuple(states or ()), output, side, how, duration
        )

    def at_signals(self, meta: Meta, children: list[t.Word]) -> list[t.DriveName]:
        return [t.DriveName(word.span, word, None) for word in children]

    def for_names(self, meta: Meta, children: list[t.DriveName]) -> list[t.DriveName]:
        return children

    def time_of_approach_locking(self, meta: Meta, children: list[Any]) -> t.TimeLine:
        return self._time(meta, "approach locking", children)

    def time_of_overlap(self, meta: Meta, children: list[Any]) -> t.TimeLine:
        return self._time(meta, "overlap", children)

    def time_of_drive(self, meta: Meta, children: list[Any]) -> t.TimeLine:
        return self._time(meta, "drive", children)

    def time_of_report(self, meta: Meta, children: list[Any]) -> t.TimeLine:
        return self._time(meta, "report", children)

    def _time(self, meta: Meta, of: t.TimeOf, children: list[Any]) -> t.TimeLine:
        duration, places = children
        return t.TimeLine(self._span(meta), of, duration, tuple(places or ()))

    # ------------------------------------------------------------------- frogs

    def by_contact(self, meta: Meta, children: list[Any]) -> t.FrogFeed:
        return "drive"

    def by_reverser(self, meta: Meta, children: list[Any]) -> t.FrogFeed:
        return "reverser"

    def isolated(self, meta: Meta, children: list[Any]) -> t.FrogFeed:
        return "dead"

    def frog_wired(self, meta: Meta, children: list[Any]) -> t.FrogWired:
        frog, output, crossed = children
        return t.FrogWired(self._span(meta), frog, output, crossed is not None)

    def frog_fed(self, meta: Meta, children: list[Any]) -> t.FrogFed:
        *frogs, feed = children
        return t.FrogFed(self._span(meta), tuple(frogs), feed)

    def _once(self, settings: Sequence[tuple[str, Span]]) -> None:
        first: dict[str, Span] = {}
        for setting, span in settings:
            if setting in first:
                self._found.report(
                    "E107",
                    f"{setting} is said twice",
                    span,
                    hint="keep one of the two",
                    related=[(first[setting], "said here first")],
                )
            first.setdefault(setting, span)


_OPTIONS = {
    "action": "how the drive moves (`coil`, `motor` or `servo`)",
    "settles": "`settles`",
    "rests": "`rests`",
    "takes": "`takes`",
    "wires": "`wires`",
    "held on": "`held on`",
    "one at each": "`one at each`",
    "crossed": "`crossed`",
    "detected": "`detected`",
}
"""What messages call the options of a drive."""


def _unwired(span: Span, drive: t.DriveName, *, by_hand: bool, detected: bool) -> t.DriveLine:
    return t.DriveLine(span, drive, (), by_hand, None, None, False, detected)


def _said(children: Iterable[t.Word | None]) -> tuple[t.Word, ...]:
    return tuple(word for word in children if word is not None)


def _unquoted(text: t.Word) -> t.Word:
    return t.Word(text.span, text.text[1:-1])


def _phrase(words: list[t.Word], with_words: list[t.Word] | None) -> t.KindPhrase:
    tail = tuple(with_words or ())
    span = words[0].span.to((tail or words)[-1].span)
    return t.KindPhrase(span, tuple(words), tail)
