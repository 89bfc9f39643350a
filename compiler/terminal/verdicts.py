"""What was proved and what was not, for the terminal: properties, stories, assumptions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from rich.text import Text

from bellcrank.compilation import Checked
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import OnlyOne
from bellcrank.machine.machine_model import PROPERTIES
from bellcrank.machine.wording import Rule, rule_lines, rule_text, rule_with_place
from bellcrank.proof.moving.story import Story
from bellcrank.proof.standing.blocked_trains import Blocked, BlockedSearch
from bellcrank.proof.verdict import MovingResult, MovingVerdict, Verdict
from bellcrank.routes.missing_signal import run_with_signal
from bellcrank.routes.route_model import RouteTable
from bellcrank.routes.sentences import listed
from bellcrank.terminal.open_questions import why_undecided
from bellcrank.terminal.outcome_words import unmet_words
from bellcrank.terminal.sheet import WIDTH, Sheet, count
from bellcrank.terminal.sketch import sketch
from bellcrank.version import NOTICE

if TYPE_CHECKING:
    from bellcrank.proof.repair.repair_model import Repair

_COLOURS = {
    "proved": "green",
    "shown": "green",
    "holds": "green",
    "refuted": "bold red",
    "fails": "bold red",
    "undecided": "bold yellow",
    "unmet": "bold yellow",
}

_HOLDS = {"proved": "holds", "shown": "holds", "refuted": "fails", "undecided": "undecided"}

MOST_SHOWN = 10
"""Unsafe sets shown in full; --json gives them all."""

MOST_SKETCHED = 3
"""Unsafe pairs of which it is sketched where they meet."""

MOST_TRAINS_NAMED = 6
"""Trains that block each other named in the remark; `--blocked` and --json give them all."""

MOST_STORIES = 3
"""Stories told in full, the gravest first; --json gives them all."""


def verdict_text(
    c: Checked,
    width: int = WIDTH,
    *,
    barred: Mapping[str, Sequence[Rule]] | None = None,
    repair: Repair | None = None,
    blocked: Blocked | None = None,
) -> Text:
    """Both verdicts with properties, expectations, hazards, stories and assumptions.

    barred: of routes that can never be set, the rules that make it so.
    repair: the rules that are missing, if they are known.
    blocked: trains that block each other, of which a remark is made if the locking is sound.
    """
    sheet = Sheet(width)
    sheet.line(
        f"{c.layout.title}: {count(len(c.table.routes), 'route')}, "
        f"{count(len(c.layout.signals), 'signal')}, {_drives(c.layout)}, "
        f"{count(len(c.table.conflicts), 'conflicting pair')}"
    )
    if c.outcome == "no routes":
        _no_routes(sheet, c)
        return sheet.text
    sheet.line("")
    sheet.line("routes as they stand", "bold")
    for result in c.standing.properties:
        if result.outcome == "proved" and not result.obligations:
            continue  # a layout without overlaps need not hear of them
        sheet.row(result.outcome, result.sentence, _COLOURS[result.outcome])
    barred = barred or {}
    for name in dict.fromkeys([*c.standing.never_set, *barred]):
        because = "; ".join(map(rule_with_place, barred.get(name, ()))) or "taken together"
        sheet.row("note", f"{name} can never be set under these rules: {because}")
    _moving(sheet, c.moving)
    if c.controlled is not None:
        _controlled(sheet, c.controlled)
    if blocked is not None and c.outcome != "refuted":
        sheet.row("remark", _who_is_blocked(blocked))
    _expectations(sheet, c.standing, c.moving)
    if c.standing.hazards:
        _hazards(sheet, c.standing, c.layout, c.table)
    _stories(sheet, c.moving)
    if c.controlled is not None and c.moving.outcome in ("proved", "unmet"):
        _stories(sheet, c.controlled)
    if repair is not None and repair.mends:
        _proposal(sheet, repair)
    _undecided(sheet, c)
    _outcome(sheet, c)
    return sheet.text


def _drives(layout: Layout) -> str:
    """How many drives there are, and frogs on outputs."""
    frogs = sum(drive.frog is not None for drive in layout.drives.values())
    drives = count(len(layout.drives) - frogs, "drive")
    return f"{drives}, {count(frogs, 'switched frog')}" if frogs else drives


def _who_is_blocked(blocked: Blocked) -> str:
    trains = [f"in {train.section} before {train.signal}" for train in blocked.waiting]
    if len(trains) > MOST_TRAINS_NAMED:
        trains[MOST_TRAINS_NAMED - 1 :] = [f"{len(trains) - MOST_TRAINS_NAMED + 1} more"]
    until = "" if blocked.for_good else " until one goes back"
    return f"trains {listed(trains)} would wait for each other{until}"


def blocked_text(search: BlockedSearch, width: int = WIDTH) -> Text:
    """How trains come to block each other, on request."""
    sheet = Sheet(width)
    if search.found is None:
        more = "" if search.complete else ", but not all that could be were looked at"
        sheet.line(f"No trains were found that would stand and wait for each other{more}.")
        return sheet.text
    sheet.line(f"How {_who_is_blocked(search.found)}, as lines that `rehearse` plays:", "bold")
    for line in search.found.story:
        sheet.row("", line, head_width=2)
    return sheet.text


def _proposal(sheet: Sheet, repair: Repair) -> None:
    sheet.line("")
    few = len(repair.rules) == 1
    holds = "all would hold that rules can mend" if repair.open else "everything would hold"
    it = "it" if few else "them"
    rules = "this rule" if few else "these rules"
    sheet.line(f"With {rules} {holds}; `check --fix` writes {it} into the file:")
    for line in proposed(repair):
        sheet.row("", line, head_width=2)
    if not repair.smallest:
        sheet.row("", "Fewer might do, but no proof was found with fewer.", head_width=2)
    for unmended in repair.open:
        sheet.row("", f"Still open: {unmended.text}.", head_width=2)


def proposed(repair: Repair) -> list[str]:
    """Missing rules as lines, each wrong one with what should stand in its place."""
    lines = rule_lines(m.rule for m in repair.rules if not m.instead_of)
    for missing in repair.rules:
        for wrong in missing.instead_of:
            if isinstance(wrong, OnlyOne) and wrong.span is not None:
                lines.append(f"{listed(missing.lacking)}, in the `only one of` at {wrong.span}")
                continue
            lines.append(f"{rule_text(missing.rule)}, in place of {rule_with_place(wrong)}")
    return lines


def _moving(sheet: Sheet, moving: MovingVerdict) -> None:
    sheet.line("")
    sheet.line("trains and drives as they move", "bold")
    for result in moving.results:
        if result.expectation or not result.obligations:
            continue
        _property(sheet, result, moving)
        if result.no_story_within:
            within = count(result.no_story_within, "event")
            sheet.row("", f"there is no story of up to {within}, wherever the drives lie at first")
    _kept(sheet, moving)


def _controlled(sheet: Sheet, controlled: MovingVerdict) -> None:
    """What was proved of the controller: what is shown of it alone, and of the rest what does
    not hold of it."""
    sheet.line("")
    sheet.line("the controller, from what is reported to it", "bold")
    same = [r for r in controlled.results if r.name in PROPERTIES and r.obligations]
    if all(r.outcome == "proved" for r in same):
        sheet.row("proved", "all of the above, with reports that come late", _COLOURS["proved"])
    for result in controlled.results:
        if result.expectation or not result.obligations:
            continue
        good = result.outcome in ("proved", "shown")
        if good and (result in same or result.name == "routes"):
            continue
        _property(sheet, result, controlled)
    _kept(sheet, controlled)


def _kept(sheet: Sheet, verdict: MovingVerdict) -> None:
    """How much the solver did not have to answer again."""
    if verdict.kept:
        of = f"{verdict.kept:,} of {count(verdict.obligations, 'obligation')}"
        sheet.row("note", f"the solver's answers to {of} were kept from earlier proofs")


def _property(sheet: Sheet, result: MovingResult, of: MovingVerdict) -> None:
    """What became of a property, and what is open of it."""
    sheet.row(result.outcome, result.sentence, _COLOURS[result.outcome])
    if result.open and not (of.stopped and result.outcome == "undecided"):
        what = "not shown" if result.outcome == "undecided" else "found"
        sheet.row("", f"{what}: {_first(result.open)}")


def _first(sentences: tuple[str, ...]) -> str:
    more = len(sentences) - 3
    return "; ".join(sentences[:3]) + (f"; and {more} more" if more > 0 else "")


def _expectations(sheet: Sheet, verdict: Verdict, moving: MovingVerdict) -> None:
    """Each expectation once: it holds if it does so standing and moving."""
    if not verdict.expectations:
        return
    in_motion = {r.name: r for r in moving.results}
    sheet.line("")
    sheet.line("expectations", "bold")
    for expectation in verdict.expectations:
        words = [_HOLDS[expectation.outcome]]
        moved = in_motion.get(expectation.name)
        if moved is not None:
            words.append(_HOLDS[moved.outcome])
        word = next((w for w in ("fails", "undecided") if w in words), "holds")
        sheet.row(word, expectation.name, _COLOURS[word])
        if expectation.why:
            sheet.row("", f"{expectation.span}: {expectation.why}")
        elif word != "holds" and moved is not None and moved.open:
            sheet.row("", f"{expectation.span}: {_first(moved.open)}")


def _hazards(sheet: Sheet, verdict: Verdict, layout: Layout, table: RouteTable) -> None:
    number = len(verdict.hazards)
    more = "" if verdict.complete else "at least "
    what = "an unsafe set" if number == 1 and not more else f"{more}{count(number, 'unsafe set')}"
    sheet.line("")
    sheet.line(f"The locking lets {what} of routes stand:")
    for index, hazard in enumerate(verdict.hazards[:MOST_SHOWN]):
        sheet.row("", f"{hazard.sentence}.", head_width=2)
        if len(hazard.concerned) == 2 and index < MOST_SKETCHED:
            one, other = (table.routes[name] for name in hazard.concerned)
            for line in sketch(layout, one, other, sheet.width - 4):
                sheet.exactly("    " + line)
        others = hazard.routes[len(hazard.concerned) :]
        if others:
            without = f"(together with {listed(others)}, without which they cannot be set)"
            sheet.row("", without, head_width=4)
        instead = f", in place of the rule at {hazard.instead_of}" if hazard.instead_of else ""
        sheet.row("", f"missing rule: {hazard.missing}{instead}", head_width=4)
    if number > MOST_SHOWN:
        sheet.line(f"  … and {number - MOST_SHOWN} more; --json gives them all")


def _stories(sheet: Sheet, moving: MovingVerdict) -> None:
    told = [r for r in moving.results if r.story is not None and not r.expectation]
    for result in told[:MOST_STORIES]:
        assert result.story is not None
        sheet.line("")
        sheet.line(f"Not so: {result.sentence}.", "bold")
        tell_story(sheet, result.story)
    if len(told) > MOST_STORIES:
        sheet.line("")
        more = count(len(told) - MOST_STORIES, "story", "stories")
        sheet.line(f"… and {more} more; --json gives them all")


def tell_story(sheet: Sheet, story: Story) -> None:
    """Add a story to what is told, step by step, with what is wrong then."""
    tell_steps(sheet, story)
    sheet.row("", f"So {story.ending}.", head_width=2)


def tell_steps(sheet: Sheet, story: Story) -> None:
    """Add the steps of a story to what is told."""
    if story.start:
        lies = ", ".join(f"{drive} lies {position}" for drive, position in story.start)
        sheet.row("", f"At the start {lies}.", head_width=2)
    place = None
    for number, step in enumerate(story.steps, start=1):
        where = ""
        if step.span is not None and step.span != place:
            place = step.span
            where = f"  ({place})"
        sheet.row(f"{number:>4}  ", f"{step.sentence}{where}", head_width=6)


def _undecided(sheet: Sheet, c: Checked) -> None:
    """Why something is undecided, and what helps."""
    said = " ".join(why_undecided(c))
    if said:
        sheet.line("")
        sheet.line(said)


def _no_routes(sheet: Sheet, c: Checked) -> None:
    """Of a layout without signals."""
    sheet.line("")
    sheet.line("verdict: no routes, so nothing to prove: no signal stands in any run")
    served = "The track plan can be drawn"
    if c.layout.hardware.decoders:
        served += ", drives can be thrown and commissioned, and sheets, labels and settings printed"
    sheet.row("", f"{served}. Nothing keeps trains apart.", head_width=2)
    written = run_with_signal(c.program)
    if written is not None:
        sheet.row("", "A signal where trains wait makes routes, such as", head_width=2)
        sheet.row("", written, head_width=4)
    sheet.line(NOTICE, "dim")


def _outcome(sheet: Sheet, c: Checked) -> None:
    moving = c.moving
    sheet.text.append("\n\nverdict: ")
    sheet.text.append(c.outcome, _COLOURS[c.outcome])
    by = f" by {moving.solvers[0]}"
    if moving.disagreement:
        by += f", with which {moving.solvers[1]} does not agree: {moving.disagreement}"
    elif len(moving.solvers) > 1 and moving.stopped:
        by += f", not all of it again by {moving.solvers[1]}"
    elif len(moving.solvers) > 1:
        by += f", every obligation again by {moving.solvers[1]}"
    if moving.stopped:
        by += f" (stopped {moving.stopped})"
    sheet.text.append(by)
    if c.outcome == "unmet":
        sheet.text.append(f": {unmet_words(c)}")
        sheet.line("The railway is safe: all else is proved, assuming")
    else:
        sheet.text.append(", assuming")
    assumptions = (c.controlled or moving).assumptions
    for name, sentence in assumptions.items():
        sheet.row(f"  {name}", sentence, head_width=28)
    sheet.line(NOTICE, "dim")
