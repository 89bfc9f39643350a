"""Running the templates of a target, within bounds.

Templates run in Jinja's sandbox: they see the document, the options and the filters,
and no attribute of Python. Those of a folder that does not come with the compiler
run in a process of their own besides, which may use so much time and memory and no
more; what they write goes only into the output folder.
"""

from __future__ import annotations

import multiprocessing
import re
import traceback
from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

import jinja2
import msgspec
from jinja2.exceptions import SecurityError

from bellcrank.document.command_types import Command
from bellcrank.document.document_types import Document
from bellcrank.document.plain import Data, plain
from bellcrank.emit.extras import Extras
from bellcrank.emit.filters import compact, css_text, csv_row, json_text, keyed, pick
from bellcrank.emit.options import OptionError, Value, chosen
from bellcrank.emit.sandbox import RefusedError, Sandbox
from bellcrank.emit.target import NEEDS, Target, TargetError, stays_inside
from bellcrank.paper.labels import label_sheets
from bellcrank.paper.plan_sheets import plan_sheets
from bellcrank.paper.trial_checklist import (
    control_rows,
    drive_checks,
    refusals,
    route_checks,
    signal_checks,
)
from bellcrank.paper.wiring_list import decoder_outputs, device_wires

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

PREPARED: tuple[Callable[Concatenate[Document, ...], object], ...] = (
    decoder_outputs,
    device_wires,
    label_sheets,
    control_rows,
    drive_checks,
    signal_checks,
    route_checks,
    refusals,
)
"""What is drawn from the document for paper, each a filter by its name."""

NO_OPTIONS: Mapping[str, str] = {}


NO_EXTRAS: Extras = {}


def render_target(
    target: Target,
    document: Document,
    given: Mapping[str, str] = NO_OPTIONS,
    extras: Extras = NO_EXTRAS,
) -> dict[str, bytes]:
    """The files of a target by path, from the document of a layout.

    given: options by name, as texts.
    extras: by name what makes those that the target asks for; see extras.py.
    Raises TargetError if the layout or an option is not what the target needs, if a
    template fails or goes beyond its bounds, or if a file of an unproved layout would
    not say so.
    """
    context = _context(target, document, given)
    context |= {name: extras[name]() for name in target.extras}

    def files() -> list[tuple[str, str]]:
        environment = _environment(target, document, context)
        return [
            (file.path, _rendered(target, environment, file.template, context))
            for file in target.files
        ]

    rendered = {}
    for path, text in _bounded(target, files):
        rendered[path] = text.encode("utf-8")
        if document.status == "UNPROVED" and "UNPROVED" not in text:
            raise TargetError(
                f"the target {target.name} does not say in {path} that the layout is "
                "UNPROVED: write {{ status }} in its template"
            )
    return rendered


def command_lines(
    target: Target,
    document: Document,
    commands: Sequence[Command],
    given: Mapping[str, str] = NO_OPTIONS,
) -> list[str]:
    """The text that a target has for each command, to be sent to a controller.

    Raises TargetError if it has none, or as `render_target` does.
    """
    return _for_each(target, target.line, "text", document, commands, given)


def command_topics(
    target: Target,
    document: Document,
    commands: Sequence[Command],
    given: Mapping[str, str] = NO_OPTIONS,
) -> list[str]:
    """The topic under which a broker gets each command.

    Raises TargetError if the target has none, or as `render_target` does.
    """
    topics = _for_each(target, target.topic, "topic", document, commands, given)
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
) -> list[str]:
    if template is None:
        raise TargetError(f"the target {target.name} has no {what} for one command")
    context = _context(target, document, given)

    def texts() -> list[tuple[str, str]]:
        environment = _environment(target, document, context)
        return [
            ("", _rendered(target, environment, template, {**context, "command": plain(command)}))
            for command in commands
        ]

    return [text for _, text in _bounded(target, texts)]


def _context(target: Target, document: Document, given: Mapping[str, str]) -> Data:
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
    return {**seen, "options": _options(target, given), "document": seen}


def _options(target: Target, given: Mapping[str, str]) -> dict[str, Value]:
    """The value of each option. To match a pattern may take for ever, so those of a
    user's own folder are matched within bounds."""

    def values() -> dict[str, Value]:
        try:
            return chosen(target.options, given)
        except OptionError as error:
            raise TargetError(f"the target {target.name}: {error}") from None

    if not any(option.pattern for option in target.options):
        return values()
    return _bounded(target, values, SECONDS_FOR_PATTERNS)


def _environment(target: Target, document: Document, context: Data) -> Sandbox:
    environment = Sandbox(target.folder, stays_inside)
    environment.filters["compact"] = compact
    environment.filters["csv"] = csv_row
    environment.filters["json"] = json_text
    environment.filters["css_text"] = css_text
    environment.filters["keyed"] = keyed
    environment.filters["pick"] = pick
    environment.filters["plan_sheets"] = _plainly(plan_sheets)
    for prepared in PREPARED:
        of_document = _of_document(prepared, document, context["document"])
        environment.filters[prepared.__name__] = of_document
    return environment


Given = ParamSpec("Given")


def _plainly(make: Callable[Given, object]) -> Callable[Given, object]:
    """What makes the same as plain data, as templates have all data."""

    @wraps(make)
    def made(*given: Given.args, **named: Given.kwargs) -> object:
        return msgspec.to_builtins(make(*given, **named))

    return made


def _of_document(
    draw: Callable[Concatenate[Document, Given], object], document: Document, seen: object
) -> Callable[Concatenate[object, Given], object]:
    """A filter of the document, which reads it with its types.

    seen: what stands for the document in templates.
    """
    drawn = _plainly(draw)

    @wraps(draw)
    def filtered(value: object, /, *given: Given.args, **named: Given.kwargs) -> object:
        if value is not seen:
            raise TypeError(f"{draw.__name__} is a filter of `document`")
        return drawn(document, *given, **named)

    return filtered


def _rendered(target: Target, environment: Sandbox, template: str, context: Data) -> str:
    try:
        parts = []
        length = 0
        for part in environment.get_template(template).generate(context):
            length += len(part)
            if length > LONGEST_FILE and not target.builtin:
                raise SecurityError(f"it writes more than {LONGEST_FILE:,} characters")
            parts.append(part)
        text = "".join(parts)
        text.encode("utf-8")
        return text
    except RefusedError as error:
        raise TargetError(f"the target {target.name}: {error}") from None
    except jinja2.TemplateNotFound as error:
        raise TargetError(f"the target {target.name} has no template {error.name}") from None
    except Exception as error:
        # A template can bring about whatever Python raises for its values.
        where = _place(error, environment, template)
        raise TargetError(f"the target {target.name} fails in {where}: {_said(error)}") from None


def _place(error: Exception, environment: Sandbox, template: str) -> str:
    """The template and line where it failed, as far as can be told: the innermost, where
    templates include or import others."""
    if isinstance(error, jinja2.TemplateSyntaxError):
        return f"{error.name or template}:{error.lineno}"
    known = {template, *environment.loaded}
    lines = [
        f"{frame.filename}:{frame.lineno}"
        for frame in traceback.extract_tb(error.__traceback__)
        if frame.filename in known
    ]
    return lines[-1] if lines else template


def _said(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "it goes round in a circle or is nested too deeply"
    if isinstance(error, MemoryError):
        return "it needs more memory than a template may"
    # Where a value lies in memory tells the user nothing.
    said = re.sub(r" at 0x[0-9a-fA-F]+", "", str(error))
    return " ".join(said.split()) or type(error).__name__


# ---------------------------------------------------------------------- bounds


Made = TypeVar("Made")


def _bounded(target: Target, work: Callable[[], Made], seconds: float | None = None) -> Made:
    """Have work of a target done; that of a user's own folder in a process with bounds.

    Where processes cannot be copied the sandbox alone has to do.
    """
    seconds = SECONDS if seconds is None else seconds
    if target.builtin or "fork" not in multiprocessing.get_all_start_methods():
        return work()
    context = multiprocessing.get_context("fork")
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_work_within_bounds, args=(work, theirs), daemon=True)
    process.start()
    theirs.close()
    try:
        if not ours.poll(seconds):
            raise TargetError(f"the target {target.name} takes more than {seconds:g} s")
        made, complaint = ours.recv()
    except EOFError:
        raise TargetError(
            f"the target {target.name} needs more memory or time than a template may"
        ) from None
    finally:
        process.kill()
        process.join()
        ours.close()
    if complaint:
        raise TargetError(complaint)
    return made  # type: ignore[no-any-return]


def _work_within_bounds(work: Callable[[], object], answer: Connection) -> None:
    """In the process: what was made, or why not."""
    _limit_memory()
    try:
        made: tuple[object, str] = (work(), "")
    except TargetError as error:
        made = (None, str(error))
    except MemoryError:
        made = (None, "a template needs more memory than it may")
    answer.send(made)
    answer.close()


def _limit_memory() -> None:
    """Let this process have so much more memory, where the system can tell how much it
    has already."""
    try:
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
    except OSError:
        return
    import resource  # is not there on every system

    most = pages * resource.getpagesize() + MEMORY
    resource.setrlimit(resource.RLIMIT_AS, (most, most))
