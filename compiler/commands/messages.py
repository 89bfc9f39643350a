"""What is sent for each command of a timetable: the text of a target, under a topic or not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bellcrank.document.command_data import timetable_data
from bellcrank.document.command_types import Command
from bellcrank.document.document_types import Document
from bellcrank.emit.description import TargetError
from bellcrank.emit.identifiers import NOTHING_PINNED, Pinned
from bellcrank.emit.render import command_lines, command_topics, off_lines
from bellcrank.emit.target import Target, load_target
from bellcrank.layout.layout_model import Layout
from bellcrank.sending.links import Message
from bellcrank.sending.outcome import Step
from bellcrank.sending.places import Place
from bellcrank.timing.timetable_model import Timetable


def target_for(name: str | None, place: Place | None) -> Target:
    """The target whose text is sent. Raises TargetError."""
    return load_target(name or ("mqtt" if place is not None and place.kind == "mqtt" else "csv"))


@dataclass(frozen=True, slots=True)
class TextOf:
    """What is sent for a command: by which target, with which options, of which document,
    whether under a topic, and which identifiers events have already."""

    target: Target
    given: Mapping[str, str]
    document: Document
    with_topic: bool
    pinned: Pinned = NOTHING_PINNED


def steps_of(timetable: Timetable, layout: Layout, text_of: TextOf) -> tuple[Step, ...]:
    """The commands of a timetable with what is sent for each, and to end the pulses of coils
    where the target has a text for it. Raises TargetError."""
    wanted = [
        timed.command
        for timed in timetable_data(timetable, layout).commands
        if timed.command.how != "by hand"
    ]
    found = iter(_messages(text_of, wanted))
    held = [command for command in wanted if command.held]
    off = iter(_off_messages(text_of, held))
    steps = []
    for timed in timetable.commands:
        message = None if timed.by_hand else next(found)
        steps.append(Step(timed, message, next(off, None) if timed.command.held else None))
    return tuple(steps)


def _off_messages(by: TextOf, commands: Sequence[Command]) -> list[Message]:
    """What ends what commands switched on; nothing if the target has no text for it."""
    if not commands:
        return []
    lines = off_lines(by.target, by.document, commands, by.given, by.pinned)
    if lines is None:
        return []
    topics: Sequence[str | None] = [None] * len(commands)
    if by.with_topic:
        topics = command_topics(by.target, by.document, commands, by.given, by.pinned)
    return [Message(line, topic) for line, topic in zip(lines, topics, strict=True)]


def _messages(by: TextOf, commands: Sequence[Command]) -> list[Message]:
    lines = command_lines(by.target, by.document, commands, by.given, by.pinned)
    topics: Sequence[str | None] = [None] * len(commands)
    if by.with_topic:
        topics = command_topics(by.target, by.document, commands, by.given, by.pinned)
    for command, line in zip(commands, lines, strict=True):
        if not line.strip():
            raise TargetError(
                f"the target {by.target.name} has no text for {command.name} {command.state}"
            )
    return [Message(line, topic) for line, topic in zip(lines, topics, strict=True)]
