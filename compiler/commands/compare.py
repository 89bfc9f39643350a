"""The command `compare`: what changed between two texts of a layout, and what to do then."""

from __future__ import annotations

import subprocess
import tarfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

from rich.padding import Padding
from rich.text import Text

from bellcrank.commands.commission_history import since_record
from bellcrank.commands.exit_statuses import fail
from bellcrank.commands.reading_layout import check_layout
from bellcrank.commands.reports import count_warnings, show_errors
from bellcrank.comparing.compared import compared
from bellcrank.comparing.differences import Comparison, LineChange, Task, ThingKind
from bellcrank.compilation import Broken, Checked
from bellcrank.document import comparison_data as data
from bellcrank.routes.sentences import listed
from bellcrank.terminal.console import print_json, show
from bellcrank.terminal.outcome_words import outcome_words

SAME, DIFFERENT = 0, 1

PAGES = (".html", ".pdf")


class _NotComparedError(Exception):
    """Nothing is compared. Reads as a sentence without its full stop."""


def compare(
    old: Path,
    new: Path | None,
    since: str | None,
    sheet: Path | None,
    json: bool,
    time_limit: float | None,
) -> int:
    """Run the command; returns the exit status."""
    if (new is None) == (since is None):
        return fail("give two files, or one with --since COMMIT")
    if sheet is not None and sheet.suffix.lower() not in PAGES:
        return fail(f"{sheet} is neither .html nor .pdf; a sheet can be written as these two")
    if new is not None and old.suffix in (".json", ".txt"):
        if sheet is not None:
            return fail(
                "--sheet is for two texts of a layout; a record of a commissioning has none"
            )
        return since_record(old, new, json=json)
    try:
        with _both(old, new, since) as (before, now):
            return _compared(before, now, sheet, json=json, seconds=time_limit)
    except _NotComparedError as error:
        return fail(str(error))


def _compared(
    before: Path, now: Path, sheet: Path | None, *, json: bool, seconds: float | None
) -> int:
    found: list[Checked] = []
    for path in (before, now):
        c = check_layout(path, seconds=seconds)
        if isinstance(c, Broken):
            return show_errors(c, json=json)
        found.append(c)
    old, new = found
    comparison = compared(old, new)
    told = _told(old, new, comparison)
    if sheet is not None and (why := _not_written(sheet, old, new, told)):
        return fail(why)
    if json:
        print_json(told)
    else:
        count_warnings(new, now)
        for line in _lines(old, new, comparison):
            show(line)
    return SAME if comparison.same else DIFFERENT


def _not_written(sheet: Path, old: Checked, new: Checked, told: data.ComparisonTold) -> str:
    """Write the sheet; returns why it could not be written, empty if it was."""
    from bellcrank.comparing.sheet import comparison_sheet
    from bellcrank.file_sets.single_files import write_files
    from bellcrank.paper.pdf import PdfError, pdf_from

    try:
        page = comparison_sheet(old, new, told)
        if sheet.suffix.lower() == ".pdf":
            page = pdf_from(page, sheet.name)
        write_files(sheet.parent, {sheet.name: page})
    except PdfError as error:
        return str(error)
    except OSError as error:
        return f"{sheet} cannot be written: {error.strerror or error}"
    return ""


# ------------------------------------------------------------------------------ which


@contextmanager
def _both(old: Path, new: Path | None, since: str | None) -> Iterator[tuple[Path, Path]]:
    """The files to compare. Raises _NotComparedError."""
    if new is not None:
        yield old, new
        return
    assert since is not None
    with TemporaryDirectory() as folder:
        yield _as_it_was(old, since, Path(folder)), old


def _as_it_was(file: Path, commit: str, folder: Path) -> Path:
    """A layout as it stood in a commit of git, with all that lies in its folder."""
    if not file.exists():
        raise _NotComparedError(f"there is no file {file}")
    if commit.startswith("-"):
        raise _NotComparedError(f"`{commit}` names no commit")
    here = file.resolve().parent
    try:
        archive = subprocess.run(
            ["git", "-C", str(here), "archive", commit, "--", "."],
            capture_output=True,
            check=False,
        )
    except OSError:
        raise _NotComparedError("--since needs git") from None
    if archive.returncode:
        said = archive.stderr.decode("utf-8", "replace").strip().splitlines()
        raise _NotComparedError(
            f"git does not give {file} as of {commit}: {said[-1] if said else 'it says no more'}"
        )
    with tarfile.open(fileobj=BytesIO(archive.stdout)) as tar:
        tar.extractall(folder, filter="data")
    if not (folder / file.name).exists():
        raise _NotComparedError(f"there was no {file.name} in {commit}")
    return folder / file.name


# ------------------------------------------------------------------------------ telling


def _lines(old: Checked, new: Checked, comparison: Comparison) -> Iterator[Text | Padding]:
    title = new.layout.title
    yield Text(f"{title}: {outcome_words(old)} before, {outcome_words(new)} now")
    if comparison.same:
        yield Text("nothing is different")
        return
    yield from _part("routes", (
        f"{r.route} is {r.change}{': ' if r.what else ''}{'; '.join(r.what)}"
        for r in comparison.routes
    ))  # fmt: skip
    can = {True: "can be set together now", False: "cannot be set together any more"}
    yield from _part("together", (
        f"{p.routes[0]} and {p.routes[1]} "
        f"{can[p.now] if p.now is not None else 'could not be decided'}"
        f"{' (before: ' if p.now else ': '}{p.because}{')' if p.now else ''}"
        for p in comparison.pairs
    ))  # fmt: skip
    for head, changes in (
        ("expectations", comparison.expectations),
        ("assumptions", comparison.assumptions),
    ):
        yield from _part(head, (f"{change.change}: {change.text}" for change in changes))
    if comparison.moved:
        yield Text("")
        yield Text(_moved(comparison.moved))
    yield from _part("at the bench", (f"☐ {text}" for text in _to_do(comparison.tasks)))
    yield from _part("commands", (
        f"{c.thing} {c.state}: {c.now or 'not commanded any more'}"
        f"{f' (before: {c.before})' if c.before else ''}"
        for c in comparison.commands
    ))  # fmt: skip


def _to_do(tasks: Sequence[Task]) -> Iterator[str]:
    """Tasks in few lines: what is tested is told together, by its kind."""
    yield from (task.text for task in tasks if task.kind != "test")
    for thing, several in _TESTED.items():
        names = [task.name for task in tasks if task.kind == "test" and task.thing == thing]
        if names:
            yield f"test {several if len(names) > 1 else thing} {listed(names)}"


def _moved(names: Sequence[str]) -> str:
    """What can be done in place of wiring all that anew."""
    return (
        f"Numbers that the text leaves open are other ones now: those of {listed(names)}. To keep "
        "wires and addresses as they are, write the numbers into the text as it was before the "
        "change, with `bellcrank format FILE --with-numbers --write`, and then change that; or put "
        "what is new below the rest."
    )


_TESTED: Mapping[ThingKind, str] = {
    "drive": "drives",
    "signal": "signals",
    "section": "sections",
    "route": "routes",
}


def _part(head: str, lines: Iterable[str]) -> Iterator[Text | Padding]:
    """A part with its head, if it has lines."""
    texts = list(lines)
    if texts:
        yield Text("")
        yield Text(head, "bold")
        yield from (Padding.indent(Text(text), 2) for text in texts)


def _told(old: Checked, new: Checked, comparison: Comparison) -> data.ComparisonTold:
    return data.ComparisonTold(
        old.outcome,
        new.outcome,
        comparison.same,
        [data.RouteChanged(r.route, r.change, list(r.what)) for r in comparison.routes],
        [data.PairChanged(list(p.routes), p.now, p.because) for p in comparison.pairs],
        _stated(comparison.expectations),
        _stated(comparison.assumptions),
        [data.BenchTask(t.kind, t.thing, t.name, t.text) for t in comparison.tasks],
        [data.CommandChanged(c.thing, c.state, c.before, c.now) for c in comparison.commands],
        list(comparison.moved),
    )


def _stated(changes: Sequence[LineChange]) -> list[data.LineChanged]:
    return [data.LineChanged(change.text, change.change) for change in changes]
