"""From tree to text: the one way a layout is written out.

Comments and single blank lines are kept where they stood; a comment inside a
statement that is written on one line moves to that line's end.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import singledispatch

from bellcrank.syntax import tree as t

WIDTH = 96
"""Runs and lists longer than this go on in an indented line."""

_INDENT = "  "


@dataclass(frozen=True, slots=True)
class _Row:
    """A line to write, and the lines of the source that it comes from."""

    text: str
    first: int
    last: int


def format_source(source: t.SourceFile) -> str:
    """The source written out. Parsing it again gives an equal tree."""
    rows = [row for statement in source.statements for row in _rows(statement)]
    return (
        "\n".join(_with_comments(rows, source.comments)) + "\n" if rows or source.comments else ""
    )


def format_statement(statement: t.Statement) -> str:
    """One statement written out, without its comments."""
    return "\n".join(row.text for row in _rows(statement))


def _with_comments(rows: Sequence[_Row], comments: Sequence[t.Comment]) -> Iterator[str]:
    waiting = list(comments)
    previous = 0
    for row in rows:
        within = [c for c in waiting if row.first <= c.span.line <= row.last]
        # One comment may end the line; the others stand before it, each on its own.
        for comment in [c for c in waiting if c.span.line < row.first] + within[:-1]:
            waiting.remove(comment)
            yield from _gap(previous, comment.span.line)
            indent = _INDENT if row.text.startswith((_INDENT, "}")) else ""
            yield (indent if comment.alone or comment in within else "") + comment.text
            previous = comment.span.line
        yield from _gap(previous, row.first)
        if within:
            waiting.remove(within[-1])
        yield row.text + "".join("  " + comment.text for comment in within[-1:])
        previous = row.last
    for comment in waiting:
        yield from _gap(previous, comment.span.line)
        yield comment.text
        previous = comment.span.line


def _gap(previous: int, line: int) -> Iterator[str]:
    if previous and line > previous + 1:
        yield ""


def _rows(statement: t.Statement) -> list[_Row]:
    span = statement.span
    block = _block(statement)
    if block is None:
        return [_Row(_line(statement), span.line, span.end_line)]
    head, parts = block
    rows = [_Row(head + " {", span.line, span.line)]
    rows += [_Row(_INDENT + _line(p), p.span.line, p.span.end_line) for p in parts]
    rows.append(_Row("}", span.end_line, span.end_line))
    return rows


def _block(statement: t.Statement) -> tuple[str, Sequence[t.Node]] | None:
    match statement:
        case t.FittingDefinition():
            return f"fitting {statement.kind.text}", statement.parts
        case t.LockingLine() if statement.rules or not statement.derive:
            return f"locking {'derive' if statement.derive else 'written'}", statement.rules
        case t.DecoderKindLine() if len(_line(statement)) > WIDTH:
            return f"decoder kind {statement.name}", statement.settings
        case t.DetectorKindLine() if len(_line(statement)) > WIDTH:
            return f"detector kind {statement.name}", statement.settings
        case _:
            return None


def _list(head: str, items: Sequence[t.Node], tail: str = "") -> str:
    """A head and a comma list, which goes on in further lines if it is long."""
    texts = [_line(item) for item in items]
    return _wrapped(head, [*texts[:-1], texts[-1] + tail], ",")


@singledispatch
def _line(node: t.Node) -> str:
    raise TypeError(f"no way to write {type(node).__name__}")


@_line.register
def _(n: t.Word) -> str:
    return n.text


@_line.register
def _(n: t.LayoutLine) -> str:
    rails = f" on {n.rails} rails" if n.rails else ""
    return f'layout "{n.title}"{rails}{_without(n.without_detection)}'


@_line.register
def _(n: t.UseLine) -> str:
    return f'use "{n.path}"'


@_line.register
def _(n: t.Legs) -> str:
    return _list("legs ", n.names)


@_line.register
def _(n: t.FittingDrive) -> str:
    name = f"{n.name} with " if n.name else ""
    return _list(f"drive {name}", n.positions)


@_line.register
def _(n: t.Way) -> str:
    way = f"way {n.first} - {n.second}"
    return _list(f"{way} when ", n.when) if n.when else way


@_line.register
def _(n: t.WayCondition) -> str:
    return f"{n.drive} {n.position}" if n.drive else n.position.text


@_line.register
def _(n: t.FittingFrog) -> str:
    name = f"{n.name} " if n.name else ""
    return f"frog {name}between {n.first}, {n.second}"


@_line.register
def _(n: t.FittingDrawing) -> str:
    return f"drawn as {n.table}"


@_line.register
def _(n: t.Declaration) -> str:
    head = " ".join(w.text for w in n.kind.words)
    tail = " ".join(w.text for w in n.kind.with_words)
    return _list(f"{head} ", n.names, f" with {tail}" if tail else "")


@_line.register
def _(n: t.CoupledLine) -> str:
    return _list("coupled ", n.drives)


@_line.register
def _(n: t.RunLine) -> str:
    return _wrapped("run ", [_line(item) for item in n.items], " -")


@_line.register
def _(n: t.Edge) -> str:
    return f"edge {n.name}"


@_line.register
def _(n: t.Stop) -> str:
    return "stop"


@_line.register
def _(n: t.SignalHere) -> str:
    return f"{'>' if n.rightwards else '<'}{n.name}"


@_line.register
def _(n: t.Piece) -> str:
    return n.name.text


@_line.register
def _(n: t.LegHere) -> str:
    return f"{n.element}.{n.leg}"


@_line.register
def _(n: t.SectionLine) -> str:
    return _list(f"section {n.name} = ", n.elements, _without(n.without_detection))


@_line.register
def _(n: t.ReverserLine) -> str:
    return _list("reverser ", n.pieces)


@_line.register
def _(n: t.DrawLine) -> str:
    return "draw " + " above ".join(map(str, n.names))


@_line.register
def _(n: t.BridgeLine) -> str:
    return _list(f"bridge {n.upper} over ", n.lower)


@_line.register
def _(n: t.PlatformLine) -> str:
    return _list(f'platform "{n.label}" {n.place.where} ', n.place.names)


@_line.register
def _(n: t.NoteLine) -> str:
    head = f'note "{n.text}"'
    return _list(f"{head} {n.place.where} ", n.place.names) if n.place else head


@_line.register
def _(n: t.SignalLine) -> str:
    shunt = " shunt" if n.shunt else ""
    output = f" = {n.output}" if n.output else ""
    head = f"signal {n.name}{shunt}"
    text = _list(f"{head} shows ", n.aspects, output) if n.aspects else head + output
    return text + ("  " + _list("repeated by ", n.repeaters) if n.repeaters else "")


@_line.register
def _(n: t.ImaginedLine) -> str:
    return _list("signal ", n.signals, " imagined")


@_line.register
def _(n: t.Aspect) -> str:
    value = f" as {n.value}" if n.value else ""
    lamps = " at " + " and ".join(map(_line, n.lamps)) if n.lamps else ""
    return n.name.text + value + lamps + (" blinking" if n.blinking else "")


@_line.register
def _(n: t.LitLamp) -> str:
    return str(n) + (" blinking" if n.blinking else "")


@_line.register
def _(n: t.OverlapLine) -> str:
    return _list(f"overlap {n.signal} = ", n.elements)


@_line.register
def _(n: t.FlankDerive) -> str:
    return "flank derive"


@_line.register
def _(n: t.FlankWritten) -> str:
    return _list(f"flank {n.route} = ", n.demands)


@_line.register(t.Demand)
@_line.register(t.DriveName)
@_line.register(t.Output)
@_line.register(t.FreeOutput)
@_line.register(t.Input)
@_line.register(t.NamedInput)
@_line.register(t.FreeInput)
@_line.register(t.RouteWay)
@_line.register(t.RouteByName)
def _(n: t.Node) -> str:
    return str(n)


@_line.register
def _(n: t.RoutesDerive) -> str:
    return "routes derive" + (f" at most {n.at_most}" if n.at_most else "")


@_line.register
def _(n: t.RoutesWritten) -> str:
    return "routes written"


@_line.register
def _(n: t.RouteLine) -> str:
    name = f"{n.name} = " if n.name else ""
    return f"route {name}{n.way}" + (f" shows {n.shows}" if n.shows else "")


@_line.register
def _(n: t.LockingLine) -> str:
    return "locking derive"


@_line.register
def _(n: t.LocksRule) -> str:
    locks = _list(f"{n.route} locks ", n.others)
    return locks + (" " + _list("when ", n.when) if n.when else "")


@_line.register
def _(n: t.NeedsRule) -> str:
    return _list(f"{n.route} needs ", n.needs)


@_line.register
def _(n: t.NeedWord) -> str:
    return f"{n.name}.{n.part} {n.word}" if n.part else f"{n.name} {n.word}"


@_line.register
def _(n: t.NeedRoute) -> str:
    return f"{n.route} set"


@_line.register
def _(n: t.EveryPositions) -> str:
    return "every route needs its positions"


@_line.register
def _(n: t.EverySectionsClear) -> str:
    return "every route needs its sections clear"


@_line.register
def _(n: t.EveryDriveClear) -> str:
    return "every drive needs its section clear"


@_line.register
def _(n: t.OnlyOneRule) -> str:
    return _list("only one of ", n.routes)


@_line.register
def _(n: t.OnlyOneOverRule) -> str:
    if len(n.places) == 1:
        return f"only one route over {n.places[0]}"
    return _list("only one route over each of ", n.places)


@_line.register
def _(n: t.ReleaseLine) -> str:
    return "release section by section" if n.by_section else "release whole routes"


@_line.register
def _(n: t.ExpectLine) -> str:
    between = " never with " if n.never else " with "
    return "expect " + between.join(map(str, n.routes))


@_line.register
def _(n: t.NumberingLine) -> str:
    return f"numbering from decoder {n.first}"


@_line.register
def _(n: t.DecoderKindLine) -> str:
    return f"decoder kind {n.name} {{ {'  '.join(map(_line, n.settings))} }}"


@_line.register
def _(n: t.KindSetting) -> str:
    if n.keyword == "weights":
        return _list("weights ", n.words)
    if n.keyword == "terminals":
        sides = zip(n.words[::2], n.words[1::2], strict=True)
        return _wrapped("terminals ", [f'{side} "{text}"' for side, text in sides], ",")
    if n.keyword == "on times":
        return f"on times from variable {n.words[0]} in steps of {n.words[1]}"
    between = _BETWEEN.get(n.keyword, " ")
    return (n.keyword + " " + between.join(w.text for w in n.words)).rstrip()


_BETWEEN = {
    "range": " to ",
    "counts": " of ",
    "from": " at ",
    "address variables": ", ",
    "variable": " = ",
}
"""What stands between the words of a setting, if that is not a blank."""


@_line.register
def _(n: t.DecoderLine) -> str:
    return f"decoder {n.name} {n.kind}" + (f" at {n.address}" if n.address else "")


@_line.register
def _(n: t.DriveLine) -> str:
    text = f"drive {n.drive}"
    if not n.outputs:
        return text + (" by hand" if n.by_hand else "") + (" detected" if n.detected else "")
    if n.places:
        text = _list(f"{text} ", n.places)
        text += f" = {n.outputs[0]}" if n.places[0].output is None else ""
    else:
        text = _list(f"{text} = ", n.outputs)
    if n.action:
        text += f"  {n.action} {n.duration}"
    if n.settles:
        text += f"  settles {n.settles}"
    if n.rests:
        text += f"  rests {n.rests}"
    if n.takes:
        text += f"  takes {n.takes}"
    if n.wires:
        text += "  " + _wrapped("wires ", [f'"{wire}"' for wire in n.wires], ",")
    text += "  held on" if n.held_on else ""
    text += "  one at each" if n.one_at_each else ""
    return text + ("  crossed" if n.crossed else "") + ("  detected" if n.detected else "")


@_line.register
def _(n: t.DrivePlace) -> str:
    return f"{n.position} as {n.value}" if n.value else f"{n.position} at {n.output} {n.side}"


@_line.register
def _(n: t.SupplyLine) -> str:
    parts = []
    if n.feeds:
        parts.append(_list("feeds ", n.feeds))
    if n.at_a_time:
        parts.append(f"{n.at_a_time} at a time")
    if n.gives:
        parts.append(f"gives {', '.join(map(str, n.gives))}")
    if n.fuse:
        parts.append(f"fuse {n.fuse}")
    if n.capacitor:
        parts.append(f"capacitor {n.capacitor[0]} through {n.capacitor[1]}")
    if n.wires:
        parts.append(f"wires {n.wires}")
    if n.rest:
        parts.append(f"rest {n.rest}")
    return f"supply {n.name} {{ {'  '.join(parts)} }}"


@_line.register
def _(n: t.DistrictLine) -> str:
    parts = [_list("feeds ", n.feeds)] if n.feeds else []
    if n.the_rest:
        parts.append("feeds the rest")
    if n.gives:
        parts.append(f"gives {', '.join(map(str, n.gives))}")
    if n.fuse:
        parts.append(f"fuse {n.fuse}")
    if n.wires:
        parts.append(f"wires {n.wires}")
    return f"district {n.name} {{ {'  '.join(parts)} }}"


@_line.register
def _(n: t.DetectorKindLine) -> str:
    return f"detector kind {n.name} {{ {'  '.join(map(_line, n.settings))} }}"


@_line.register
def _(n: t.DetectorLine) -> str:
    return f"detector {n.name} {n.kind}" + (f" at {n.address}" if n.address else "")


@_line.register
def _(n: t.ReportLine) -> str:
    what = f"{n.what} {n.position}" if n.position else str(n.what)
    return f"report {what} = {n.inlet}" + (" opens" if n.opens else "")


@_line.register
def _(n: t.ButtonLine) -> str:
    return f"button {'to cancel ' if n.cancels else ''}{n.what} = {n.inlet}"


@_line.register
def _(n: t.LampLine) -> str:
    return f"lamp {n.route} = {n.output} {n.side}"


@_line.register
def _(n: t.OutputLine) -> str:
    states = f" with {', '.join(map(str, n.states))}" if n.states else ""
    text = f"output {n.name}{states} = {n.output}" + (f" {n.side}" if n.side else "")
    return text + (f"  {n.action} {n.duration}" if n.action else "")


@_line.register
def _(n: t.TimeLine) -> str:
    text = f"time of {n.of} {n.duration}"
    return _list(f"{text} {'at' if n.at_signals else 'for'} ", n.places) if n.places else text


@_line.register
def _(n: t.FrogWired) -> str:
    return f"frog {n.frog} = {n.output}" + ("  crossed" if n.crossed else "")


@_line.register
def _(n: t.FrogFed) -> str:
    return _list("frog ", n.frogs, f" {_FEEDS[n.feed]}")


_FEEDS: Mapping[t.FrogFeed, str] = {
    "drive": "with drive",
    "reverser": "by reverser",
    "dead": "dead",
}


def _without(without_detection: bool) -> str:
    return " without detection" if without_detection else ""


def _wrapped(head: str, items: Sequence[str], sign: str) -> str:
    """Items joined by a sign; a line grown too long goes on after a sign."""
    lines = [head + items[0]]
    for item in items[1:]:
        if len(lines[-1]) + len(sign) + 1 + len(item) > WIDTH:
            lines[-1] += sign
            lines.append(_INDENT * 2 + item)
        else:
            lines[-1] += f"{sign} {item}"
    return "\n".join(lines)
