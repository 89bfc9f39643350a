"""Running the templates of a target, within bounds.

Those of a folder that does not come with the compiler run in a process of their own, which
may use so much time and memory and no more; what they write goes only into the output
folder.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from bellcrank.document.command_types import Command
from bellcrank.document.document_types import Document
from bellcrank.document.plain import Data, plain
from bellcrank.emit.bounds import OutOfBoundsError, within_bounds
from bellcrank.emit.choosing import Choosing
from bellcrank.emit.description import TargetError
from bellcrank.emit.extra_names import Extras
from bellcrank.emit.identifiers import (
    NOTHING_PINNED,
    Pinned,
    RoomError,
    completed,
    dotted,
    events_of,
)
from bellcrank.emit.options import Value
from bellcrank.emit.rendering import Piece, Rendering
from bellcrank.emit.target import NEEDS, Target
from bellcrank.emit.work import FailedError, Work

LONGEST_FILE = 64_000_000
"""Characters that a template of a user's own folder may write: the whole document of a
layout of a thousand routes, and some more."""

SECONDS = 60.0
"""For all templates of a folder of the user's own."""

SECONDS_FOR_PATTERNS = 5.0
"""For matching what its options are given."""

MEMORY = 800_000_000
"""Bytes for them, beyond what the compiler has already."""

LONGEST_TOPIC = 65_535
"""Bytes of a topic name (MQTT 3.1.1, section 4.7.3)."""

NO_OPTIONS: Mapping[str, str] = {}

NO_EXTRAS: Extras = {}


def render_target(
    target: Target,
    document: Document,
    given: Mapping[str, str] = NO_OPTIONS,
    extras: Extras = NO_EXTRAS,
    pinned: Pinned = NOTHING_PINNED,
) -> dict[str, bytes]:
    """The files of a target by path, from the document of a layout.

    given: options by name, as texts.
    extras: by name what makes those that the target asks for; see extras.py.
    pinned: identifiers that events have already.
    Raises TargetError if the layout or an option is not what the target needs, if a
    template fails or goes beyond its bounds, or if a file of an unproved layout would
    not say so.
    """
    context = _context(target, document, given, pinned)
    context |= {name: extras[name]() for name in target.extras}
    texts = _texts(target, [Piece(file.template, {}) for file in target.files], document, context)
    rendered = {}
    for file, text in zip(target.files, texts, strict=True):
        rendered[file.path] = text.encode("utf-8")
        if document.status == "UNPROVED" and "UNPROVED" not in text:
            raise TargetError(
                f"the target {target.name} does not say in {file.path} that the layout is "
                "UNPROVED: write {{ status }} in its template"
            )
    return rendered


def command_lines(
    target: Target,
    document: Document,
    commands: Sequence[Command],
    given: Mapping[str, str] = NO_OPTIONS,
    pinned: Pinned = NOTHING_PINNED,
) -> list[str]:
    """The text that a target has for each command, to be sent to a controller.

    Raises TargetError if it has none, or as `render_target` does.
    """
    return _for_each(target, target.line, "text", document, commands, given, pinned)


def off_lines(
    target: Target,
    document: Document,
    commands: Sequence[Command],
    given: Mapping[str, str] = NO_OPTIONS,
    pinned: Pinned = NOTHING_PINNED,
) -> list[str] | None:
    """The text that ends what each command switched on; None if the target has none, as
    whatever receives a command ends it by itself.

    Raises TargetError as `render_target` does.
    """
    if target.off is None:
        return None
    return _for_each(target, target.off, "text", document, commands, given, pinned)


def command_topics(
    target: Target,
    document: Document,
    commands: Sequence[Command],
    given: Mapping[str, str] = NO_OPTIONS,
    pinned: Pinned = NOTHING_PINNED,
) -> list[str]:
    """The topic under which a broker gets each command.

    Raises TargetError if the target has none, or as `render_target` does.
    """
    topics = _for_each(target, target.topic, "topic", document, commands, given, pinned)
    return [_checked_topic(target, topic.strip()) for topic in topics]


def _checked_topic(target: Target, topic: str) -> str:
    """A topic, if a message may be published under it: MQTT 3.1.1, section 4.7, and
    section 1.5.3 of control characters."""
    if not topic:
        why = "is empty"
    elif any(c in topic for c in "+#"):
        why = "holds a + or #, which stand for many topics"
    elif any(c < " " or "\x7f" <= c < "\xa0" for c in topic):
        why = "holds a line end or another control character"
    elif len(topic.encode()) > LONGEST_TOPIC:
        why = f"is longer than {LONGEST_TOPIC:,} bytes"
    else:
        return topic
    raise TargetError(f"a topic of the target {target.name} {why}: {topic[:60]!r}")


def _for_each(
    target: Target,
    template: str | None,
    what: str,
    document: Document,
    commands: Sequence[Command],
    given: Mapping[str, str],
    pinned: Pinned,
) -> list[str]:
    if template is None:
        raise TargetError(f"the target {target.name} has no {what} for one command")
    context = _context(target, document, given, pinned)
    pieces = [Piece(template, {"command": plain(command)}) for command in commands]
    return _texts(target, pieces, document, context)


def _texts(target: Target, pieces: Sequence[Piece], document: Document, context: Data) -> list[str]:
    if target.builtin:
        typed, longest = document, None
    else:  # There it is made anew of the plain one, if it is needed: so less is sent.
        typed, longest = None, LONGEST_FILE
    work = Rendering(target.name, target.folder, tuple(pieces), context, typed, longest)
    made: list[str] = done(target, work)
    return made


def with_identifiers(
    target: Target, document: Document, given: Mapping[str, str], pinned: Pinned
) -> Pinned:
    """Identifiers of all events of a layout, in the range that an option of the target states.

    Raises TargetError if it is not stated, or has too little room.
    """
    range_ = range_of(target, given)
    if range_ is None:
        return pinned
    events = tuple(events_of(document))
    try:
        return completed(pinned, events, range_, document.source.files[0])
    except RoomError as error:
        raise TargetError(f"the target {target.name}: {error}") from None


def range_of(target: Target, given: Mapping[str, str]) -> str | None:
    """The range of its identifiers; None for a target that has none. Raises TargetError."""
    return None if target.identifiers is None else str(_options(target, given)[target.identifiers])


def _context(target: Target, document: Document, given: Mapping[str, str], pinned: Pinned) -> Data:
    """What the templates see, if the layout has what the target needs."""
    there = {
        "hardware": bool(document.hardware.decoders),
        "numbering": document.hardware.first_decoder is not None,
    }
    for need in target.needs:
        if not there[need]:
            raise TargetError(f"the target {target.name} needs that the layout says {NEEDS[need]}")
    # That it may be made for another target must not matter.
    seen = {name: part for name, part in document.plain.items() if name not in target.without}
    context = {**seen, "options": _options(target, given), "document": seen}
    if target.identifiers is not None:
        identifiers = with_identifiers(target, document, given, pinned).identifiers
        context["identifiers"] = [
            {"event": dotted(identifiers[event]), **event._asdict(), **place._asdict()}
            for event, place in events_of(document).items()
        ]
    return context


def _options(target: Target, given: Mapping[str, str]) -> dict[str, Value]:
    """The value of each option. To match a pattern may take for ever, so those of a
    user's own folder are matched within bounds."""
    work = Choosing(target.name, target.options, given)
    if any(option.pattern for option in target.options):
        values: dict[str, Value] = done(target, work, SECONDS_FOR_PATTERNS)
    else:
        values = _done_here(work)
    return values


def done(target: Target, work: Work, seconds: float | None = None) -> Any:
    """What comes of work for a target; that for a user's own folder is done within bounds.

    Raises TargetError with a sentence if nothing comes of it.
    """
    if target.builtin:
        return _done_here(work)
    try:
        return within_bounds(work, SECONDS if seconds is None else seconds, MEMORY)
    except OutOfBoundsError as error:
        raise TargetError(f"the target {target.name}: {error}") from None
    except FailedError as error:
        raise TargetError(str(error)) from None


def _done_here(work: Work) -> Any:
    try:
        return work.run()
    except FailedError as error:
        raise TargetError(str(error)) from None
