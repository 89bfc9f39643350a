"""The command `commission`: a layout is thrown and looked at, drive by drive, route by route."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from rich.text import Text

from bellcrank.commands.commission_sender import Sender, as_found, output_words
from bellcrank.commands.dialogue import Log, coil_caution, typed, yes_or_no
from bellcrank.commands.earlier_runs import thrown_by
from bellcrank.commands.exit_statuses import fail
from bellcrank.commands.identifier_file import identifiers_beside
from bellcrank.commands.messages import target_for
from bellcrank.commands.reports import told_at_the_end
from bellcrank.commands.sending_start import checked, heading, refused
from bellcrank.commission.commission_checklist import Checklist, checklist_of
from bellcrank.commission.crossing import NotCrossedError, files_with, with_crossed
from bellcrank.commission.record import record_text, summary
from bellcrank.commission.run import (
    Answer,
    Question,
    Refuses,
    Run,
    Stands,
    Throw,
    changes,
    drive_findings,
    is_sound,
    is_whole,
    next_question,
    to_rewire,
)
from bellcrank.compilation import Broken, Checked
from bellcrank.diagnostics import has_errors
from bellcrank.document.commission_data import CommissionEnding, CommissionStatus, commission_data
from bellcrank.document.part import Part
from bellcrank.emit.description import TargetError
from bellcrank.emit.options import OptionError, split
from bellcrank.file_sets.single_files import write_new_file
from bellcrank.machine.commands import throw_command
from bellcrank.routes.sentences import listed
from bellcrank.sending.links import LinkError, open_link
from bellcrank.sending.log_file import LogError, LogFile
from bellcrank.sending.places import PlaceError, read_place
from bellcrank.syntax.rewrite import NotAsReadError, rewrite
from bellcrank.terminal.console import print_diagnostics, say, show

GOOD, BAD, FAULTY, NOT_WHOLE, STOPPED = 0, 1, 2, 3, 130

_CAUTIONS = (
    "Turn the supply off before you touch a wire. No train on the points, no hand near them.",
    "A coil drive takes a pulse: hold no button down, and let the coil cool between throws.",
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
    if not checklist.drives and not checklist.routes:
        return fail("there is nothing to commission: no drive is wired, and there is no route")
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
            before = thrown_by(file, options.log)
            link = open_link(place)
        except (LinkError, LogError) as error:
            return fail(str(error))
        sender = Sender(c, place, target, given, link, ask=not options.yes, log=Log(file),
                        pinned=beside.pinned)  # fmt: skip
        sender.remember(before)
    try:
        return _through(options, c, checklist, sender, told)
    finally:
        if sender is not None:
            sender.close()


def _through(
    options: CommissionOptions,
    c: Checked,
    checklist: Checklist,
    sender: Sender | None,
    told: _Told,
) -> int:
    """Ask everything, then write what the user wants written. told: gets what was found."""
    begun = datetime.now().astimezone()
    for line in heading(c, f"commissioning of {_title(c)}"):
        show(Text(line))
    show("")
    for caution in _CAUTIONS:
        show(Text(caution))
    if sender is not None and sender.holds_coils():
        show(Text(coil_caution(sender.target)))
    show("Type the number before an answer, or the answer itself; `back` takes the last answer "
         "back, `quit` leaves.")  # fmt: skip
    run = Run(checklist)
    try:
        run = _ask_all(run, c, sender)
        told.run = run
        show("")
        for sentence in summary(run):
            show(Text(f"{sentence}."))
        if not run.answered:
            show("Nothing was answered, and nothing is written.")
            return NOT_WHOLE
        wrong = changes(run)
        written = told.changed = _mended(options.file, c, wrong)
        stamp = f"begun {_minute(begun)}, ended {_minute(datetime.now().astimezone())}"
        head = [
            *heading(c, f"commissioning of {_title(c)}"),
            stamp + (f", sent to {sender.place}" if sender is not None else ", thrown by others"),
        ]
        if yes_or_no("Write the record of what was asked and seen?"):
            text = record_text(head, run, written)
            path = new_record(options.file, begun.date().isoformat(), text)
            told.record = str(path)
            print(path)
        else:
            show("No record was written.")
    except KeyboardInterrupt:
        show("\nstopped; no record was written")
        return STOPPED
    except OSError as error:
        return fail(f"{error.filename or options.file} cannot be written: {error.strerror}")
    if not is_sound(run) or (wrong and not written):
        return BAD
    return GOOD if is_whole(run) else NOT_WHOLE


# --------------------------------------------------------------------- questions


def _ask_all(run: Run, c: Checked, sender: Sender | None) -> Run:
    """The run after all answers, or up to where the user left."""
    about = ""
    try:
        while (question := next_question(run)) is not None:
            name = question.drive.name if isinstance(question, Throw) else question.route.name
            if name != about:
                about = name
                _introduce(question, run)
            text = _throw(question, run, c, sender)
            said = _answer(text, question)
            if said == "quit":
                break
            if said == "back":
                if not run.answered:
                    show("There is no answer to take back.")
                run = run.back()
                about = ""
                continue
            assert isinstance(said, Answer)
            run = run.answer(said)
            _conclude(question, run)
    except KeyboardInterrupt:
        show("\nleft")
    return run


def _introduce(question: Question, run: Run) -> None:
    checklist = run.checklist
    if isinstance(question, Throw):
        drive = question.drive
        frog = drive.frog is not None
        alike = [each for each in checklist.drives if (each.frog is not None) == frog]
        of = f"{'frog' if frog else 'drive'} {alike.index(drive) + 1} of {len(alike)}"
        also = f" (works {listed(drive.works)})" if drive.works != (drive.name,) else ""
        name = drive.name + also
    else:
        of = f"route {checklist.routes.index(question.route) + 1} of {len(checklist.routes)}"
        name = question.route.name
    show("")
    show(Text(f"{of}: {name}", "bold"))


def _throw(question: Question, run: Run, c: Checked, sender: Sender | None) -> str:
    """Say what to throw or set, and send it if it can be; what to ask then."""
    match question:
        case Throw(drive, position):
            name, to = drive.to_throw(position)
            if sender is None or not sender.throws(name, to, changes(run)):
                where = output_words(throw_command(as_found(c, changes(run)), name, to))
                verb = "Switch" if drive.frog is not None and drive.frog.own else "Throw"
                show(Text(f"{verb} {name} to {to}: {where}."))
            if drive.frog is None:
                return f"Where does {drive.name} lie now?"
            one, other = drive.positions
            return (
                f"With the current at the track reduced, a lamp between the {drive.name} and the "
                f"rail of {one} that faces {other}, and one between it and the rail of {other} "
                f"that faces {one}: at which does it stay dark?"
            )
        case Stands(route):
            if sender is None or not sender.sets(route.name, changes(run)):
                show(Text(f"Set {route.name}."))
            lies = [_lies(c, name, position) for name, position in route.positions]
            return f"Is this so: {listed([*lies, f'{route.signal} shows {route.aspect}'])}?"
        case Refuses(route, other):
            return f"With {route.name} set, ask for {other}. Is it refused?"


def _lies(c: Checked, drive: str, position: str) -> str:
    does = "lies" if c.layout.drives[drive].frog is None else "has the polarity of"
    return f"{drive} {does} {position}"


_WORDS = {
    "nothing": "nothing moved",
    "yes": "yes",
    "no": "no",
    "skip": "skip",
    "skip all": "skip all of this route",
}


def _answer(text: str, question: Question) -> Answer | str:
    """The answer that is typed, or `back` or `quit`. No line any more means quit."""
    frog = isinstance(question, Throw) and question.drive.frog is not None
    words_of = _WORDS | {"nothing": "neither"} if frog else _WORDS
    choices: list[tuple[str, Answer | str]] = [
        (a.position if a.kind == "lies" else words_of[a.kind], a) for a in question.answers
    ]
    choices += [("back", "back"), ("quit", "quit")]
    show(Text(text))
    show(Text("  " + "   ".join(f"{n} {word}" for n, (word, _) in enumerate(choices, start=1))))
    words: dict[str, Answer | str] = {}
    for number, (word, answer) in enumerate(choices, start=1):
        words.setdefault(str(number), answer)
        words.setdefault(word.casefold(), answer)
    short = {"nothing": "nothing moved", "skip all": "skip all of this route"}
    while True:
        said = typed(">")
        if said is None:
            return "quit"
        said = " ".join(said.casefold().split())
        found = words.get(said) or words.get(short.get(said, ""))
        if found is not None:
            return found
        show(f"Type a number from 1 to {len(choices)}.")


def _conclude(question: Question, run: Run) -> None:
    """Say what was found of a drive, once that is known."""
    if not isinstance(question, Throw) or question.number <= len(question.drive.positions):
        return
    drive = question.drive
    finding = next(f for f in drive_findings(run) if f.drive == drive)
    match finding.verdict:
        case "wrong way" if to_rewire(drive):
            show(Text(f"The {drive.name} has the opposite polarity: swap its two feed wires."))
        case "wrong way":
            now = "`crossed` comes out" if drive.crossed else "`crossed` goes in"
            does = "moves the wrong way" if drive.frog is None else "has the opposite polarity"
            show(Text(f"{drive.name} {does}: {now} at the end, if you agree."))
        case "faulty":
            show(Text(f"Something is wrong with {drive.name}: {finding.why}."))


# ----------------------------------------------------------------------- writing


def _mended(file: Path, c: Checked, wrong: Mapping[str, bool]) -> list[str]:
    """Write `crossed` where it belongs, if the user agrees; what was written, in sentences.

    Raises OSError if a file cannot be written.
    """
    if not wrong:
        return []
    for name, crossed in wrong.items():
        show(
            Text(f"  {_called(c, name)}: `crossed` is to be {'put in' if crossed else 'taken out'}")
        )
    names = files_with(c.program, wrong)
    if not yes_or_no(f"Write this into {listed(names)}?"):
        show("The layout was left as it is.")
        return []
    try:
        rewrite(c.program, file, names, lambda n, text: with_crossed(c.program, n, text, wrong))
    except (NotCrossedError, NotAsReadError) as error:
        say(f"nothing was changed: {error}")
        return []
    return [
        f"`crossed` was {'written for' if crossed else 'taken from'} {_called(c, name)}"
        for name, crossed in wrong.items()
    ]


def _called(c: Checked, name: str) -> str:
    return name if c.layout.drives[name].frog is not None else f"drive {name}"


def new_record(file: Path, day: str, text: str) -> Path:
    """Write a record beside the layout under a name that is not taken; returns its path.

    Raises OSError if it cannot be written; then nothing of it is left.
    """
    data = text.encode("utf-8")
    number = 1
    while True:
        more = "" if number == 1 else f"-{number}"
        path = file.with_name(f"{file.stem}-commission-{day}{more}.txt")
        try:
            write_new_file(path, data)
        except FileExistsError:
            number += 1
        else:
            return path


def _title(c: Checked) -> str:
    return c.layout.title or c.program.files[-1].name


def _minute(at: datetime) -> str:
    return at.strftime("%Y-%m-%d %H:%M")
