"""The command `check`: the verdict, and rules that are missing or not wanted.

What only some runs need, as the search for missing rules, is loaded where it is needed: the
verdict on a small layout should not wait for it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.text import Text

from bellcrank.commands.broken_option import ALL, BrokenWish, kinds_asked, places_asked
from bellcrank.commands.exit_statuses import fail, status
from bellcrank.commands.reading_layout import compile_layout, prove_layout
from bellcrank.commands.reports import report, show_errors
from bellcrank.commands.watching_files import Watched, again_and_again
from bellcrank.compilation import Broken, Checked, Sound
from bellcrank.file_sets.not_written import NotWrittenError
from bellcrank.proof.kept.kept_model import InMemory
from bellcrank.proof.kept.on_disk import kept_on_this_machine
from bellcrank.proof.memory import Memory
from bellcrank.proof.standing.blocked_trains import BlockedSearch, blocked_trains
from bellcrank.proof.standing.minimal_core import never_settable
from bellcrank.syntax.rewrite import NotAsReadError
from bellcrank.terminal.console import print_diagnostics, print_json, progress, show, width
from bellcrank.terminal.verdicts import blocked_text, verdict_text

if TYPE_CHECKING:
    from bellcrank.commands.commission_history import Records
    from bellcrank.commands.rule_advice import Righted
    from bellcrank.document.part import Part
    from bellcrank.machine.wording import Rule
    from bellcrank.proof.repair.rules_found import RulesFound

UNKNOWN = BlockedSearch(None, complete=False)
"""Of a layout with errors nobody asks whether trains block each other."""


@dataclass(frozen=True, slots=True)
class CheckOptions:
    """What was asked for on the command line."""

    file: Path
    json: bool
    time_limit: float | None
    scheduler: str | None
    recheck: bool
    fix: bool
    spare: bool
    blocked: bool
    controller: bool
    broken: tuple[BrokenWish, ...]
    obligations: Path | None
    afresh: bool
    watch: bool


def check(**given: Any) -> int:
    """Run the command; returns the exit status."""
    asked = CheckOptions(**given)
    # While it watches it may remember what it has shown itself.
    kept = kept_on_this_machine() or (InMemory() if asked.watch else None)
    memory = None if asked.afresh or kept is None else Memory(kept)
    once = partial(_once, asked, memory)
    return again_and_again(once, asked.file, quiet=asked.json) if asked.watch else once(None)


def _once(asked: CheckOptions, memory: Memory | None, watched: Watched | None) -> int:
    """Check a layout as it is now; returns the exit status."""
    in_a_line = watched is not None
    sound = compile_layout(asked.file, watched, memory)
    found: RulesFound | None = None
    righted: Righted | None = None
    if asked.fix:
        from bellcrank.commands import rule_advice as advice

        seconds = advice.SECONDS_FOR_FIX if asked.time_limit is None else asked.time_limit
        try:
            if isinstance(sound, Broken):
                righted = advice.put_right(sound, asked.file)
                if righted.sentences:
                    sound = compile_layout(asked.file)
            if isinstance(sound, Sound):
                with progress() as tell:
                    found = advice.mend(sound, asked.file, seconds, tell)
                if found.written is not None:
                    sound = compile_layout(asked.file)
        except NotAsReadError as error:
            return fail(f"nothing is written: {error}")
        except OSError as error:
            return fail(f"{error.filename or asked.file} cannot be written: {error.strerror}")
    if isinstance(sound, Broken):
        found = _with_righted(found, righted)
        told = _told(found, {}, UNKNOWN, json=asked.json)
        ended = show_errors(sound, *told, json=asked.json, in_a_line=in_a_line)
        if not asked.json:
            _show_notes(found)
        return ended
    c = prove_layout(
        sound,
        recheck=asked.recheck,
        own_names=asked.obligations is not None,
        seconds=asked.time_limit,
        scheduler=asked.scheduler,
        controller=asked.controller or bool(asked.broken),
        broken=kinds_asked(asked.broken),
        broken_at=places_asked(asked.broken),
        memory=memory,
        watched=watched,
    )
    if asked.obligations is not None:
        from bellcrank.commands.writing import write_all
        from bellcrank.proof.smt_files import obligation_files

        files = obligation_files(c.layout, c.table, c.locking, c.machine, c.standing, c.moving)
        try:
            write_all(asked.obligations, files, c)
        except NotWrittenError as error:
            return fail(str(error))
    found = _with_righted(_rules(c, found, spare=asked.spare, limit=asked.time_limit), righted)
    barred = never_settable(c.layout, c.locking, c.standing, c.moving)
    waiting = blocked_trains(c.layout, c.table, c.locking)
    if asked.json:
        parts = _told(found, barred, waiting, c, json=asked.json)
        print_json(report(c), *parts, _bench_data(asked.file, c), in_a_line=in_a_line)
    else:
        _tell(c, found, barred, waiting, blocked=asked.blocked, broken=asked.broken)
        for line in _of_the_bench(asked.file, c):
            show(Text(line))
    if memory is not None:
        memory.built(c.machine)
        memory.settle()
    return status(c)


def _tell(
    c: Checked,
    found: RulesFound | None,
    barred: Mapping[str, Sequence[Rule]],
    waiting: BlockedSearch,
    *,
    blocked: bool,
    broken: Collection[BrokenWish],
) -> None:
    """Tell the verdict, and what was asked for beside it."""
    print_diagnostics(c.diagnostics, c.program.texts)
    repair = None if found is None or found.written is not None else found.repair
    show(verdict_text(c, width(), barred=barred, repair=repair, blocked=waiting.found))
    if blocked:
        show(blocked_text(waiting, width()))
    if c.noticed is not None:
        from bellcrank.terminal.noticed import noticed_text

        show(noticed_text(c.noticed, width(), stories=all(wish.what != ALL for wish in broken)))
    elif broken:
        show(Text("What the railway notices is not asked of a controller that is not proved."))
    _show_notes(found)


def _show_notes(found: RulesFound | None) -> None:
    for line in found.notes if found is not None else ():
        show(Text(line))


def _with_righted(found: RulesFound | None, righted: Righted | None) -> RulesFound | None:
    """What was found of rules, with what was put right before, if anything was."""
    if righted is None:
        return found
    from bellcrank.commands.rule_advice import with_righted

    return with_righted(found, righted)


def _records(file: Path) -> Records | None:
    """The records of commissionings that stand beside the layout; None if there are none."""
    if not any(file.parent.glob("*-commission-*.json")):
        return None
    from bellcrank.commands.commission_history import records_beside

    records = records_beside(file)
    return records if records.by_file else None


def _bench_data(file: Path, c: Checked) -> Part:
    """What they say, as JSON."""
    from bellcrank.commands.commission_history import as_data
    from bellcrank.document.commission_history_data import BenchTold

    records = _records(file)
    return BenchTold(bench=None if records is None else as_data(records, records.standings(c), c))


def _of_the_bench(file: Path, c: Checked) -> Iterator[str]:
    """What they leave to be tested."""
    records = _records(file)
    if records is not None:
        from bellcrank.commands.commission_history import in_words

        yield ""
        last = records.by_file[-1][1].begun[:10]
        yield f"At the bench, by its records, the last of {last}:"
        yield from (f"  {line}" for line in in_words(records.standings(c)))


def _rules(
    c: Checked, mended: RulesFound | None, *, spare: bool, limit: float | None
) -> RulesFound | None:
    """What is told beside the verdict: rules that were written, are missing, or not wanted.
    None where nothing is looked for."""
    if not c.refuted and mended is None and not spare:
        return None
    from bellcrank.commands import rule_advice as advice
    from bellcrank.proof.repair.repair_model import SECONDS_UNASKED

    if mended is not None:
        return advice.mended(mended, c)
    with progress() as tell:
        if spare:
            return advice.spare(c, limit, tell)
        few = SECONDS_UNASKED
        return advice.propose(c, few if limit is None else min(few, limit), tell)


def _told(
    found: RulesFound | None,
    barred: Mapping[str, Sequence[Rule]],
    blocked: BlockedSearch,
    c: Checked | None = None,
    *,
    json: bool,
) -> tuple[Part, ...]:
    """What is told of rules, blocked trains and broken assumptions as JSON, where that is
    asked for."""
    if not json:
        return ()
    from bellcrank.document.blocked_data import blocked_data
    from bellcrank.document.noticed_data import noticed_data
    from bellcrank.document.noticed_types import NoticedTold
    from bellcrank.document.rules_data import rules_data
    from bellcrank.proof.repair.rules_found import RulesFound

    told = NoticedTold(noticed=None if c is None else noticed_data(c))
    return (rules_data(found or RulesFound(), barred), blocked_data(blocked), told)
