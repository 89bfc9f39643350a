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
from multiprocessing.connection import Connection
from pathlib import Path, PurePosixPath
from typing import Any

import jinja2
from jinja2.exceptions import SecurityError
from jinja2.sandbox import ImmutableSandboxedEnvironment

from bellcrank.emit.checklist import control_rows, drive_checks, refusals, route_checks
from bellcrank.emit.filters import compact, css_text, csv_row, json_text, pick
from bellcrank.emit.labels import label_sheets
from bellcrank.emit.options import OptionError, chosen
from bellcrank.emit.target import NEEDS, Target, TargetError, stays_inside
from bellcrank.emit.wiring_list import decoder_outputs, device_wires

LONGEST_FILE = 16_000_000
"""Characters that a template may write."""

LONGEST_TEXT = 1_000_000
"""Characters that one `*` in a template may make."""

SECONDS = 20.0
"""For all templates of a folder of the user's own."""

MEMORY = 400_000_000
"""Bytes for them, beyond what the compiler has already."""

PREPARED: tuple[Callable[..., Any], ...] = (
    decoder_outputs,
    device_wires,
    label_sheets,
    control_rows,
    drive_checks,
    route_checks,
    refusals,
)
"""Lists drawn from the document for paper, each a filter by its name."""

NO_OPTIONS: Mapping[str, str] = {}


NO_EXTRAS: Mapping[str, Callable[[], str]] = {}


def render_target(
    target: Target,
    document: dict[str, Any],
    given: Mapping[str, str] = NO_OPTIONS,
    extras: Mapping[str, Callable[[], str]] = NO_EXTRAS,
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
        environment = _environment(target)
        return [
            (file.path, _rendered(target, environment, file.template, context))
            for file in target.files
        ]

    rendered = {}
    for path, text in _bounded(target, files):
        rendered[path] = text.encode("utf-8")
        if document["status"] == "UNPROVED" and "UNPROVED" not in text:
            raise TargetError(
                f"the target {target.name} does not say in {path} that the layout is "
                "UNPROVED: write {{ status }} in its template"
            )
    return rendered


def command_lines(
    target: Target,
    document: dict[str, Any],
    commands: Sequence[dict[str, Any]],
    given: Mapping[str, str] = NO_OPTIONS,
) -> list[str]:
    """The text that a target has for each command, to be sent to a controller.

    Raises TargetError if it has none, or as `render_target` does.
    """
    return _for_each(target, target.line, "text", document, commands, given)


def command_topics(
    target: Target,
    document: dict[str, Any],
    commands: Sequence[dict[str, Any]],
    given: Mapping[str, str] = NO_OPTIONS,
) -> list[str]:
    """The topic under which a broker gets each command.

    Raises TargetError if the target has none, or as `render_target` does.
    """
    topics = _for_each(target, target.topic, "topic", document, commands, given)
    return [topic.strip() for topic in topics]


def _for_each(
    target: Target,
    template: str | None,
    what: str,
    document: dict[str, Any],
    commands: Sequence[dict[str, Any]],
    given: Mapping[str, str],
) -> list[str]:
    if template is None:
        raise TargetError(f"the target {target.name} has no {what} for one command")
    context = _context(target, document, given)

    def texts() -> list[tuple[str, str]]:
        environment = _environment(target)
        return [
            ("", _rendered(target, environment, template, {**context, "command": command}))
            for command in commands
        ]

    return [text for _, text in _bounded(target, texts)]


def _context(target: Target, document: dict[str, Any], given: Mapping[str, str]) -> dict[str, Any]:
    """What the templates see, if the layout has what the target needs."""
    hardware = document["hardware"]
    there = {
        "hardware": bool(hardware["decoders"]),
        "numbering": hardware["first_decoder"] is not None,
    }
    for need in target.needs:
        if not there[need]:
            raise TargetError(f"the target {target.name} needs that the layout says {NEEDS[need]}")
    try:
        options = chosen(target.options, given)
    except OptionError as error:
        raise TargetError(f"the target {target.name}: {error}") from None
    return {**document, "options": options, "document": document}


class _Sandbox(ImmutableSandboxedEnvironment):
    """Jinja's sandbox, in which no text grows beyond bounds by one sign."""

    intercepted_binops = frozenset(("*", "**"))

    def call_binop(
        self, context: jinja2.runtime.Context, operator: str, left: Any, right: Any
    ) -> Any:
        for one, times in ((left, right), (right, left)):
            sized = isinstance(one, str | list | tuple) and isinstance(times, int)
            if sized and len(one) * times > LONGEST_TEXT:
                raise SecurityError(f"`*` would make more than {LONGEST_TEXT:,} characters")
        whole = isinstance(left, int) and isinstance(right, int)
        if operator == "**" and whole and left.bit_length() * right > LONGEST_TEXT:
            raise SecurityError("`**` would make a number of more digits than anybody reads")
        return super().call_binop(context, operator, left, right)


def _environment(target: Target) -> _Sandbox:
    def template(name: str) -> tuple[str, str, None] | None:
        if not stays_inside(name):
            return None
        path = target.folder.joinpath(*PurePosixPath(name).parts)
        if not path.is_file():
            return None
        return path.read_text("utf-8"), name, None

    environment = _Sandbox(
        loader=jinja2.FunctionLoader(template),
        undefined=jinja2.StrictUndefined,
        autoescape=lambda name: name is not None and ".html" in name,
        keep_trailing_newline=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["compact"] = compact
    environment.filters["csv"] = csv_row
    environment.filters["json"] = json_text
    environment.filters["css_text"] = css_text
    environment.filters["pick"] = pick
    for prepared in PREPARED:
        environment.filters[prepared.__name__] = prepared
    return environment


def _rendered(target: Target, environment: _Sandbox, template: str, context: dict[str, Any]) -> str:
    try:
        parts = []
        length = 0
        for part in environment.get_template(template).generate(context):
            length += len(part)
            if length > LONGEST_FILE:
                raise SecurityError(f"it writes more than {LONGEST_FILE:,} characters")
            parts.append(part)
        text = "".join(parts)
        text.encode("utf-8")
        return text
    except jinja2.TemplateNotFound as error:
        raise TargetError(f"the target {target.name} has no template {error.name}") from None
    except Exception as error:
        # A template can bring about whatever Python raises for its values.
        raise TargetError(
            f"the target {target.name} fails in {_place(error, template)}: {_said(error)}"
        ) from None


def _place(error: Exception, template: str) -> str:
    """The template and line where it failed, as far as can be told."""
    if isinstance(error, jinja2.TemplateSyntaxError):
        return f"{error.name or template}:{error.lineno}"
    lines = [
        frame.lineno
        for frame in traceback.extract_tb(error.__traceback__)
        if frame.filename == template
    ]
    return f"{template}:{lines[-1]}" if lines else template


def _said(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "it goes round in a circle or is nested too deeply"
    if isinstance(error, MemoryError):
        return "it needs more memory than a template may"
    # Where a value lies in memory tells the user nothing.
    said = re.sub(r" at 0x[0-9a-fA-F]+", "", str(error))
    return " ".join(said.split()) or type(error).__name__


# ---------------------------------------------------------------------- bounds


Texts = list[tuple[str, str]]


def _bounded(target: Target, work: Callable[[], Texts]) -> Texts:
    """Have templates run; those of a user's own folder in a process with bounds.

    Where processes cannot be copied the sandbox alone has to do.
    """
    if target.builtin or "fork" not in multiprocessing.get_all_start_methods():
        return work()
    context = multiprocessing.get_context("fork")
    ours, theirs = context.Pipe(duplex=False)
    process = context.Process(target=_work_within_bounds, args=(work, theirs), daemon=True)
    process.start()
    theirs.close()
    try:
        if not ours.poll(SECONDS):
            raise TargetError(f"the target {target.name} takes more than {SECONDS:g} s")
        texts, complaint = ours.recv()
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
    return texts  # type: ignore[no-any-return]


def _work_within_bounds(work: Callable[[], Texts], answer: Connection) -> None:
    """In the process: what was made, or why not."""
    _limit_memory()
    try:
        made: tuple[Texts, str] = (work(), "")
    except TargetError as error:
        made = ([], str(error))
    except MemoryError:
        made = ([], "a template needs more memory than it may")
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
