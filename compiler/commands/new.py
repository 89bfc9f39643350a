"""The command `new`: a first layout, by options or by a few questions."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from bellcrank.commands.asking import typed
from bellcrank.commands.exit_statuses import STOPPED, fail
from bellcrank.diagnostics import did_you_mean
from bellcrank.file_sets.single_files import write_files, write_new_file
from bellcrank.hardware.addresses import HIGHEST_OUTPUT
from bellcrank.starting.first_layout import first_layout
from bellcrank.starting.track_kinds import TRACK_KINDS, TrackKind
from bellcrank.starting.wishes import (
    KINDS_OF_DRIVE,
    KINDS_OF_SIGNALS,
    Decoders,
    Detectors,
    Drives,
    Signals,
    Wish,
    WishError,
)

WRITTEN = 0

SUFFIX = ".crank"

DECODERS, DETECTORS = Decoders(), Detectors()

MOST_OUTPUTS, MOST_SWITCHES = 64, 12
"""Of a decoder that is asked for here."""


@dataclass(frozen=True, slots=True)
class NewOptions:
    """The words of the command; None for what is not said."""

    kind: str | None
    file: Path | None
    roads: int | None
    slip_drives: int | None
    title: str | None
    signals: Signals | None
    decoders: bool | None
    drive: Drives | None
    outputs: int | None
    switches: int | None
    address: int | None
    detectors: bool | None
    inputs: int | None
    replace: bool


W = TypeVar("W", bound=str)


class _NobodyAnswersError(Exception):
    """The input ended where an answer was wanted."""


def new(**given: object) -> int:
    """Run the command; returns the exit status."""
    options = NewOptions(**given)  # type: ignore[arg-type]
    try:
        if options.kind is not None:
            return _written(_by_options(options, options.kind), options)
        if not (sys.stdin is not None and sys.stdin.isatty()):
            return fail(f"name a kind of track: {', '.join(TRACK_KINDS)}")
        return _written(_by_questions(options), options)
    except WishError as error:
        return fail(str(error))
    except _NobodyAnswersError:
        return STOPPED


@dataclass(frozen=True, slots=True)
class _Order:
    """What is to be written, and where."""

    kind: TrackKind
    size: int
    wish: Wish
    path: Path


# ------------------------------------------------------------------------- by options


def _by_options(options: NewOptions, name: str) -> _Order:
    kind = TRACK_KINDS[name]
    return _Order(
        kind,
        _size(options, name),
        Wish(
            _title(options.title or kind.title),
            signals=options.signals or _usual_signals(kind),
            decoders=_decoders(options, kind),
            detectors=_detectors(options),
        ),
        _path(options.file or Path(name)),
    )


def _size(options: NewOptions, name: str) -> int:
    size = TRACK_KINDS[name].size
    counts = None if size is None else size.counts
    for counted, option, given in (
        ("roads", "--roads", options.roads),
        ("slip drives", "--slip-drives", options.slip_drives),
    ):
        if given is not None and counted != counts:
            raise WishError(f"{option} says nothing about the kind `{name}`")
        if given is not None and size is not None:
            return _within(given, option, size.least, size.most)
    return 1 if size is None else size.usual


def _usual_signals(kind: TrackKind) -> Signals:
    """On a bench none stands yet."""
    return "imagined" if kind.bench else "real"


def _decoders(options: NewOptions, kind: TrackKind) -> Decoders | None:
    said = {
        "--drive": options.drive,
        "--outputs": options.outputs,
        "--switches": options.switches,
        "--address": options.address,
    }
    about = [option for option, value in said.items() if value is not None]
    if options.decoders is False:
        if about:
            raise WishError(f"{about[0]} is about decoders, and --no-decoders wants none")
        return None
    if not (options.decoders or about or kind.bench):
        return None
    return Decoders(
        outputs=_number_of(options.outputs, DECODERS.outputs, "--outputs", MOST_OUTPUTS),
        switches=_number_of(options.switches, DECODERS.switches, "--switches", MOST_SWITCHES),
        first=_number_of(options.address, DECODERS.first, "--address", HIGHEST_OUTPUT),
        drives=options.drive or DECODERS.drives,
    )


def _detectors(options: NewOptions) -> Detectors | None:
    if options.detectors is False and options.inputs is not None:
        raise WishError("--inputs is about detectors, and --no-detectors wants none")
    if not (options.detectors or options.inputs is not None):
        return None
    return Detectors(_number_of(options.inputs, DETECTORS.inputs, "--inputs", 64))


def _number_of(given: int | None, usual: int, what: str, most: int) -> int:
    return usual if given is None else _within(given, what, 1, most)


def _within(value: int, what: str, least: int, most: int) -> int:
    if not least <= value <= most:
        raise WishError(f"{what}: {value} is not from {least} to {most:,}")
    return value


def _title(text: str) -> str:
    if '"' in text or not text.isprintable() or not text.strip():
        raise WishError("the title is printable text on one line, without double quotes")
    return text


def _path(path: Path) -> Path:
    return path if path.suffix else path.with_name(path.name + SUFFIX)


# ----------------------------------------------------------------------- by questions


def _by_questions(options: NewOptions) -> _Order:
    print("Return takes what stands in brackets.")
    for word, offered in TRACK_KINDS.items():
        print(f"  {word:10} {offered.purpose}")
    name = _one_of("Which one?", list(TRACK_KINDS), next(iter(TRACK_KINDS)))
    kind = TRACK_KINDS[name]
    size = 1
    if kind.size is not None:
        size = _number(kind.size.question, kind.size.usual, kind.size.least, kind.size.most)
    signals = _one_of(
        "Where routes begin, are signals real, imagined, or are there none?",
        KINDS_OF_SIGNALS,
        _usual_signals(kind),
    )
    decoders = None
    if _yes("Are drives wired to decoders?", usual=kind.bench):
        drives = _one_of(
            "What moves the blades: coil, motor or servo?", KINDS_OF_DRIVE, DECODERS.drives
        )
        decoders = Decoders(
            drives=drives,
            outputs=_number(
                "How many outputs has each decoder?", DECODERS.outputs, 1, MOST_OUTPUTS
            ),
            switches=_number(
                "How many switches set its address?", DECODERS.switches, 1, MOST_SWITCHES
            ),
            first=_number("Which is the first output number?", DECODERS.first, 1, HIGHEST_OUTPUT),
        )
    detectors = DETECTORS if _yes("Do detectors tell where trains are?", usual=False) else None
    title = _asked("What is it called?", options.title or kind.title)
    path = _asked("In which file?", str(_path(options.file or Path(name))))
    return _Order(kind, size, Wish(_title(title), signals, decoders, detectors), _path(Path(path)))


def _asked(question: str, usual: str) -> str:
    said = typed(f"{question} [{usual}]")
    if said is None:
        raise _NobodyAnswersError
    return said or usual


def _one_of(question: str, words: Sequence[W], usual: W) -> W:
    while True:
        said = _asked(question, usual)
        for word in words:
            if word == said:
                return word
        print(did_you_mean(said, words) or f"one of: {', '.join(words)}")


def _number(question: str, usual: int, least: int, most: int) -> int:
    while True:
        said = _asked(question, str(usual))
        if said.isdecimal() and least <= int(said) <= most:
            return int(said)
        print(f"a number from {least} to {most:,}")


def _yes(question: str, *, usual: bool) -> bool:
    while True:
        match _asked(f"{question} yes or no:", "yes" if usual else "no").casefold():
            case "yes" | "y":
                return True
            case "no" | "n":
                return False


# --------------------------------------------------------------------------- writing


def _written(order: _Order, options: NewOptions) -> int:
    text = first_layout(order.kind.build(order.size), order.wish)
    data = text.encode("utf-8")
    path = order.path
    try:
        if options.replace:
            write_files(path.parent, {path.name: data})
        else:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_new_file(path, data)
    except FileExistsError:
        return fail(f"{path} is there already: name another file, or say --replace")
    except OSError as error:
        return fail(f"{path} cannot be written: {error.strerror or error}")
    print(f"{path} is written: read it, and change it to what you have. Then")
    for words, purpose in _next(order):
        print(f"  bellcrank {words:52} {purpose}".rstrip())
    return WRITTEN


def _next(order: _Order) -> list[tuple[str, str]]:
    """What to type next."""
    path = order.path
    if order.wish.signals != "none":
        rows = [(f"check {path}", "proves it"), (f"table {path}", "lists its routes")]
    else:
        rows = [(f"check {path}", "looks for mistakes")]
    rows.append((f"picture {path}", "draws it"))
    if order.wish.decoders:
        rows.append(
            (f"build {path} --target sheets --out bench", "how to set decoders, labels, wiring")
        )
    if order.wish.signals != "none":
        rows.append((f"run {path} --simulated --open", "runs trains on it, in the browser"))
    return rows
