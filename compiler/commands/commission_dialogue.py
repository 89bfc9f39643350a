"""How a commissioning asks: what to do, what to look at, and what may be typed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rich.text import Text

from bellcrank.commands.asking import typed
from bellcrank.commands.commission_sender import Sender, as_found, output_words
from bellcrank.commission.checks import Checklist, CutCheck, DriveCheck, SectionCheck, StateCheck
from bellcrank.commission.detecting import sections_found
from bellcrank.commission.findings import changes, drive_findings, state_findings
from bellcrank.commission.questions import (
    Answer,
    Empty,
    Parted,
    Push,
    Question,
    Refuses,
    Show,
    Stands,
    Throw,
    reported,
)
from bellcrank.commission.record import to_exchange
from bellcrank.commission.run import Run, next_question
from bellcrank.commission.switching import to_rewire
from bellcrank.compilation import Checked
from bellcrank.diagnostics import did_you_mean
from bellcrank.layout.detectors import Input
from bellcrank.machine.commands import show_list, switch_command, throw_command
from bellcrank.routes.sentences import listed
from bellcrank.terminal.console import show


def ask_all(run: Run, c: Checked, sender: Sender | None) -> Run:
    """The run after all answers, or up to where the user left."""
    about: object = None
    try:
        while (question := next_question(run)) is not None:
            check = Empty if isinstance(question, Empty) else question.check
            if check != about:
                about = check
                _introduce(question, run.checklist)
            text = _ask(question, run, c, sender)
            said = _answer(text, question, run.checklist)
            if said == "quit":
                break
            if said == "back":
                if not run.answered:
                    show("There is no answer to take back.")
                run = run.back()
                about = None
                continue
            assert isinstance(said, Answer)
            run = run.answer(said)
            _conclude(question, run)
    except KeyboardInterrupt:
        show("\nleft")
    return run


# ------------------------------------------------------------------- what is asked of


def _introduce(question: Question, checklist: Checklist) -> None:
    show("")
    show(Text(_title(question, checklist), "bold"))


def _title(question: Question, checklist: Checklist) -> str:
    match question:
        case Empty():
            return "sections: nothing on the track"
        case Throw(drive):
            frog = drive.frog is not None
            alike = [each for each in checklist.drives if (each.frog is not None) == frog]
            also = f" (works {listed(drive.works)})" if drive.works != (drive.name,) else ""
            what = "frog" if frog else "drive"
            return f"{what} {alike.index(drive) + 1} of {len(alike)}: {drive.name}{also}"
        case Show(state):
            same = [each for each in checklist.states if each.device == state.device]
            return f"{state.device} {same.index(state) + 1} of {len(same)}: {state.name}"
        case Push(section):
            place = checklist.sections.index(section) + 1
            return f"section {place} of {len(checklist.sections)}: {section.name}"
        case Parted(cut):
            place = checklist.cuts.index(cut) + 1
            return f"joint {place} of {len(checklist.cuts)}: {cut.inside} and {cut.outside}"
        case Stands(route) | Refuses(route):
            place = checklist.routes.index(route) + 1
            return f"route {place} of {len(checklist.routes)}: {route.name}"


def _ask(question: Question, run: Run, c: Checked, sender: Sender | None) -> str:
    """Say what to throw or set, and send it if it can be; what to ask then."""
    match question:
        case Throw(drive, position):
            return _ask_of_throw(drive, position, run, c, sender)
        case Show(state, shown):
            return _ask_of_state(state, shown, c, sender)
        case Empty():
            return (
                "Take every vehicle off the track, and all that takes current from it. Which "
                "sections are reported occupied?"
            )
        case Push(section):
            return _ask_of_section(section)
        case Parted(cut):
            return _ask_of_cut(cut)
        case Stands(route):
            if sender is None or not sender.sets(route.name, changes(run)):
                show(Text(f"Set {route.name}."))
            so = [_lies(c, name, position) for name, position in route.positions]
            if not c.layout.signals[route.signal].imagined:
                so.append(f"{route.signal} shows {route.aspect}")
            if not so:
                return f"Does the panel say that {route.name} is set?"
            return f"Is this so: {listed(so)}?"
        case Refuses(route, other):
            return f"With {route.name} set, ask for {other}. Is it refused?"


def _ask_of_throw(
    drive: DriveCheck, position: str, run: Run, c: Checked, sender: Sender | None
) -> str:
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


def _ask_of_state(check: StateCheck, state: str, c: Checked, sender: Sender | None) -> str:
    if check.device == "signal":
        if sender is None or not sender.shows(check.name, state):
            where = output_words(show_list(c.layout, check.name, state)[-1])
            show(Text(f"Let {check.name} show {state}: {where}."))
        return f"What does {check.name} show now, it alone?"
    if sender is None or not sender.switches(check.name, state):
        where = output_words(switch_command(c.layout, check.name, state))
        show(Text(f"Switch {check.name} to {state}: {where}."))
    return f"What is {check.name} now?"


def _ask_of_section(section: SectionCheck) -> str:
    through = "" if section.elements == (section.name,) else f" ({listed(section.elements)})"
    return (
        f"Put one vehicle that takes current on {section.name}{through}, nothing else on the "
        "track, and push it by hand to each end of the section, but not beyond. Which sections "
        "are reported occupied meanwhile?"
    )


def _ask_of_cut(cut: CutCheck) -> str:
    return (
        f"Take the wires of the output of {cut.fed_by} off, and all vehicles off the "
        "track, and reduce its current. Hold a lamp between each of the two rails of "
        f"{cut.inside.element} and each of the two of {cut.outside.element}, at this joint: does "
        "it stay dark at all four?"
    )


def _lies(c: Checked, drive: str, position: str) -> str:
    does = "lies" if c.layout.drives[drive].frog is None else "has the polarity of"
    return f"{drive} {does} {position}"


# -------------------------------------------------------------------------- answers

_WORDS = {
    "nothing": "nothing moved",
    "reported": "nothing",
    "yes": "yes",
    "no": "no",
    "skip": "skip",
    "skip all": "skip all of this route",
}

_SHORT = {
    "nothing": ("nothing moved", "neither", "dark", "nothing happened"),
    "skip all": ("skip all of this route",),
}
"""Words that people type for longer ones."""


def _word(answer: Answer, question: Question) -> str:
    if answer.kind == "lies":
        return answer.position
    if answer.kind == "nothing":
        match question:
            case Throw(drive) if drive.frog is not None:
                return "neither"
            case Show(state):
                return "dark" if state.device == "signal" else "nothing happened"
    return _WORDS[answer.kind]


def _choices(question: Question, checklist: Checklist) -> list[tuple[str, Answer | str]]:
    """What may be chosen by a number, in words."""
    found: list[tuple[str, Answer | str]] = []
    match question:
        case Empty():
            answers: tuple[Answer, ...] = (reported(), Answer("skip"))
        case Push(section) if section.input is not None:
            found.append((f"{section.name} alone ({section.input})", reported(section.input)))
            answers = (reported(), Answer("skip"))
        case Push():
            answers = (reported(), Answer("skip"))
        case _:
            answers = question.answers
    found += [(_word(answer, question), answer) for answer in answers]
    return [*found, ("back", "back"), ("quit", "quit")]


def _answer(text: str, question: Question, checklist: Checklist) -> Answer | str:
    """The answer that is typed, or `back` or `quit`. No line any more means quit."""
    choices = _choices(question, checklist)
    show(Text(text))
    show(Text("  " + "   ".join(f"{n} {word}" for n, (word, _) in enumerate(choices, start=1))))
    words: dict[str, Answer | str] = {}
    for number, (word, answer) in enumerate(choices, start=1):
        words.setdefault(str(number), answer)
        words.setdefault(word.casefold(), answer)
    inputs = _inputs(checklist) if isinstance(question, Empty | Push) else {}
    if inputs:
        show("  or the sections or inputs that are reported, with commas between")
    while True:
        said = typed(">")
        if said is None:
            return "quit"
        said = " ".join(said.casefold().split())
        for each in (said, *_SHORT.get(said, ())):
            if each in words:
                return words[each]
        if inputs and said:
            parts = [part.strip() for part in said.split(",")]
            if all(part in inputs for part in parts):
                return reported(*(inputs[part] for part in parts))
            unknown = next(part for part in parts if part not in inputs)
            hint = did_you_mean(unknown, inputs)
            show(Text(f"Nothing is reported as `{unknown}`{f'; {hint}' if hint else ''}."))
        elif said and (hint := did_you_mean(said, _spelt([*words, *_SHORT]))):
            show(Text(f"`{said}` is no answer here; {hint}"))
        show(f"Type a number from 1 to {len(choices)}.")


def _spelt(words: Iterable[str]) -> list[str]:
    """The words among what may be typed, without the numbers."""
    return [word for word in words if not word.isdigit()]


def _inputs(checklist: Checklist) -> Mapping[str, Input]:
    """The inputs by what may be typed for each: the section, or the input itself."""
    found: dict[str, Input] = {str(each).casefold(): each for each in checklist.free}
    for input_, what in checklist.taken.items():
        found[str(input_).casefold()] = input_
        found.setdefault(what.casefold(), input_)
    return found


# ---------------------------------------------------------------------- what was found


def _conclude(question: Question, run: Run) -> None:
    """Say what was found of a check, once that is known."""
    match question:
        case Throw(drive, number=number) if number > len(drive.positions):
            _conclude_drive(drive, run)
        case Show(state, number=number) if number > len(state.states):
            found = next(f for f in state_findings(run) if f.check == state)
            if found.verdict == "wrong way":
                show(Text(f"To put right: {to_exchange(found)}."))
            elif found.verdict == "faulty":
                show(Text(f"Something is wrong with {state.name}: {found.why}."))
        case Push(section):
            seen = next(f for f in sections_found(run) if f.check == section)
            heard = [*(seen.heard or ())]
            if section.input is not None and len(heard) == 1:
                # Whether sections are exchanged is known once all have been asked of.
                if heard != [section.input]:
                    said = f"{section.name} is reported on {heard[0]}, not on {section.input}"
                    show(Text(f"{said}; what follows of it is said at the end."))
            elif seen.verdict == "faulty":
                show(Text(f"Something is wrong with {section.name}: {seen.why}."))


def _conclude_drive(drive: DriveCheck, run: Run) -> None:
    finding = next(f for f in drive_findings(run) if f.check == drive)
    match finding.verdict:
        case "wrong way" if to_rewire(drive):
            show(Text(f"The {drive.name} has the opposite polarity: swap its two feed wires."))
        case "wrong way":
            now = "`crossed` comes out" if drive.crossed else "`crossed` goes in"
            does = "moves the wrong way" if drive.frog is None else "has the opposite polarity"
            show(Text(f"{drive.name} {does}: {now} at the end, if you agree."))
        case "faulty":
            show(Text(f"Something is wrong with {drive.name}: {finding.why}."))
