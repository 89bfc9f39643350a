"""The command `commission`: a layout is thrown and looked at, drive by drive, route by route."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from rich.text import Text

from bellcrank.commands.asking import yes_or_no
from bellcrank.commands.commission_dialogue import ask_all
from bellcrank.commands.commission_history import history
from bellcrank.commands.commission_records import Left, Record, found_right, reason, title
from bellcrank.commands.commission_sender import Sender
from bellcrank.commands.dialogue import Log, coil_caution
from bellcrank.commands.earlier_runs import thrown_by
from bellcrank.commands.exit_statuses import fail
from bellcrank.commands.identifier_file import identifiers_beside
from bellcrank.commands.messages import target_for
from bellcrank.commands.reports import told_at_the_end
from bellcrank.commands.sending_start import checked, heading, refused
from bellcrank.commission.checks import Checklist
from bellcrank.commission.commission_checklist import checklist_of
from bellcrank.commission.detecting import inputs_moved
from bellcrank.commission.findings import changes, is_sound, is_whole
from bellcrank.commission.mending import (
    Mend,
    NotMendedError,
    files_to_mend,
    layout_mended,
    mended,
)
from bellcrank.commission.record import summary
from bellcrank.commission.run import Run
from bellcrank.commission.tested import Tested, without
from bellcrank.compilation import Broken, Checked, hash_of
from bellcrank.diagnostics import has_errors
from bellcrank.document.commission_data import CommissionEnding, CommissionStatus, commission_data
from bellcrank.document.commission_record import RecordError
from bellcrank.document.part import Part
from bellcrank.emit.description import TargetError
from bellcrank.emit.options import OptionError, split
from bellcrank.routes.sentences import listed
from bellcrank.sending.links import LinkError, open_link
from bellcrank.sending.log_file import LogError, LogFile
from bellcrank.sending.places import PlaceError, read_place
from bellcrank.syntax.rewrite import NotAsReadError, rewrite
from bellcrank.terminal.console import print_diagnostics, say, show

GOOD, BAD, FAULTY, NOT_WHOLE, STOPPED = 0, 1, 2, 3, 130

_CAUTION = "Turn the supply off before you touch a wire. No train on the points, no hand near them."
_CAUTION_OF_COILS = (
    "A coil drive takes a pulse: hold no button down, and let the coil cool between throws. Where "
    "the layout does not say what a drive is, it may be a coil: make sure that its pulse ends."
)


@dataclass(frozen=True, slots=True)
class CommissionOptions:
    """What was asked for on the command line."""

    file: Path
    to: str | None
    target: str | None
    option: tuple[str, ...]
    although_unproved: bool
    time_limit: float | None
    yes: bool
    log: Path | None
    only: tuple[str, ...]
    since: Path | None
    history: bool
    by: str | None
    remark: str | None
    json: bool


def commission_command(**given: Any) -> int:
    """Run the command; returns the exit status."""
    return commission(CommissionOptions(**given))


@dataclass(slots=True)
class _Told:
    """What `--json` prints, as it becomes known. run: None until something was asked."""

    run: Run | None = None
    changed: Sequence[str] = ()
    record: str | None = None
    ending: CommissionEnding = "error"

    def parts(self) -> Iterator[Part]:
        # Where nothing was asked it ended with an error, as with a layout not proved.
        if self.run is None:
            yield CommissionStatus("error")
        else:
            yield CommissionStatus(self.ending)
            yield commission_data(self.run, self.changed, self.record)


_ENDINGS: Mapping[int, CommissionEnding] = {
    GOOD: "right",
    BAD: "wrong",
    NOT_WHOLE: "not whole",
    STOPPED: "stopped",
}


def commission(options: CommissionOptions) -> int:
    if options.history:
        return history(options.file, json=options.json)
    told = _Told()
    with told_at_the_end(told.parts, json=options.json):
        status = _commission(options, told)
        told.ending = _ENDINGS.get(status, "error")
    return status


def _commission(options: CommissionOptions, told: _Told) -> int:
    try:
        place = read_place(options.to) if options.to is not None else None
        target = target_for(options.target, place) if place is not None else None
        given = split(options.option, target.options if target is not None else ())
        if options.log is not None and place is None:
            return fail("--log says what is sent, so --to must say where to send")
    except (PlaceError, TargetError, OptionError) as error:
        return fail(str(error))
    c = checked(options)
    if isinstance(c, Broken):
        return FAULTY
    status = refused(options, c)
    if status is not None:
        return status
    try:
        checklist = checklist_of(c.layout, c.table, c.commands, options.only)
    except ValueError as error:
        return fail(str(error))
    if not checklist.checks():
        return fail("there is nothing to commission: no drive is wired, and there is no route")
    try:
        before = found_right(options.since, checklist, c.layout)
    except (OSError, RecordError) as error:
        return fail(f"{options.since} cannot be used: {reason(error)}")
    checklist = without(checklist, before)
    if not checklist.checks():
        show("All of it was found right before, and nothing of it has changed since.")
        told.run = Run(checklist)
        return GOOD
    sender = None
    if place is not None and target is not None:
        try:
            beside = identifiers_beside(options.file, [target], given)
        except TargetError as error:
            return fail(str(error))
        if has_errors(beside.diagnostics):
            print_diagnostics(beside.diagnostics, dict(beside.texts))
            return FAULTY
        try:
            file = LogFile(options.log) if options.log is not None else None
            thrown = thrown_by(file, options.log)
            link = open_link(place)
        except (LinkError, LogError) as error:
            return fail(str(error))
        sender = Sender(c, place, target, given, link, ask=not options.yes, log=Log(file),
                        pinned=beside.pinned)  # fmt: skip
        sender.remember(thrown)
    try:
        return _through(options, c, checklist, before, sender, told)
    finally:
        if sender is not None:
            sender.close()


def _through(
    options: CommissionOptions,
    c: Checked,
    checklist: Checklist,
    before: Sequence[Tested],
    sender: Sender | None,
    told: _Told,
) -> int:
    """Ask everything, then write what the user wants written.

    before: what was found right earlier and is not asked of. told: gets what was found.
    """
    begun = datetime.now().astimezone()
    for line in heading(c, f"commissioning of {title(c)}"):
        show(Text(line))
    show("")
    show(Text(_CAUTION))
    if any(wiring.action in ("coil", None) for wiring in c.layout.hardware.wirings.values()):
        show(Text(_CAUTION_OF_COILS))
    if sender is not None and sender.holds_coils():
        show(Text(coil_caution(sender.target)))
    show("Type the number before an answer, or the answer itself; `back` takes the last answer "
         "back, `quit` leaves.")  # fmt: skip
    if before:
        was, has = ("check was", "has") if len(before) == 1 else ("checks were", "have")
        show(f"{len(before)} {was} found right before and {has} not changed: not asked again.")
    run = Run(checklist)
    try:
        run = ask_all(run, c, sender)
        told.run = run
        show("")
        for sentence in summary(run):
            show(Text(f"{sentence}."))
        if not run.answered:
            show("Nothing was answered, and nothing is written.")
            return NOT_WHOLE
        wrong = Mend(changes(run), inputs_moved(run))
        left = _mended(options.file, c, wrong)
        written = told.changed = left.sentences
        if yes_or_no("Write the record of what was asked and seen?"):
            to = str(sender.place) if sender is not None else None
            record = Record(
                options.file,
                c,
                begun,
                datetime.now().astimezone(),
                to,
                left,
                options.by,
                options.remark,
            )
            path = record.write(run, before)
            told.record = str(path)
            print(path)
        else:
            show("No record was written.")
    except KeyboardInterrupt:
        show("\nstopped; no record was written")
        return STOPPED
    except OSError as error:
        return fail(f"{error.filename or options.file} cannot be written: {error.strerror}")
    if not is_sound(run) or ((wrong.crossed or wrong.inputs) and not written):
        return BAD
    return GOOD if is_whole(run) else NOT_WHOLE


# ----------------------------------------------------------------------- writing


def _mended(file: Path, c: Checked, mend: Mend) -> Left:
    """Put right in the layout what can be, if the user agrees.

    Raises OSError if a file cannot be written.
    """
    left = Left((), c.layout, c.source_hash)
    names = files_to_mend(c.program, mend)
    if not names:
        return left
    for name, crossed in mend.crossed.items():
        show(
            Text(f"  {_called(c, name)}: `crossed` is to be {'put in' if crossed else 'taken out'}")
        )
    for section, now in mend.inputs.items():
        before = c.layout.reports.sections[section].input
        show(Text(f"  {section}: is to be reported on {now}, not on {before}"))
    if not yes_or_no(f"Write this into {listed(names)}?"):
        show("The layout was left as it is.")
        return left
    try:
        layout = layout_mended(c.program, c.layout, mend)
        rewrite(c.program, file, names, lambda name, text: mended(c.program, name, text, mend))
    except (NotMendedError, NotAsReadError) as error:
        say(f"nothing was changed: {error}")
        return left
    written = [
        f"`crossed` was {'written for' if crossed else 'taken from'} {_called(c, name)}"
        for name, crossed in mend.crossed.items()
    ]
    written += [f"`report {section} = {now}` was written" for section, now in mend.inputs.items()]
    texts = {name: mended(c.program, name, text, mend) for name, text in c.program.texts.items()}
    return Left(written, layout, hash_of(texts))


def _called(c: Checked, name: str) -> str:
    return name if c.layout.drives[name].frog is not None else f"drive {name}"
