"""A campaign of hostile input: whatever is read, there is an answer in words, and soon.

    python tests/campaigns/hostile.py              # in full
    BELLCRANK_CAMPAIGN=0.01 python tests/campaigns/hostile.py

Each sort of input is drawn so many times. Nothing may be raised but what is promised, no case
may take 10 s of the processor, and no process more than 2 GB. What is found is printed with the
number of the case, from which it can be drawn again: `hostile.py layouts 4711`.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from random import Random
from types import FrameType

sys.path[:0] = [str(Path(__file__).parents[1])]

from campaigns import hostile_texts as texts  # noqa: E402
from sound_layouts import compiled, undecided  # noqa: E402

import bellcrank  # noqa: E402
from bellcrank import Broken, Sound  # noqa: E402
from bellcrank.commands import listing as bellcrank_commands  # noqa: E402
from bellcrank.commands.cli import main as command_line  # noqa: E402
from bellcrank.diagnostics import Diagnostic, render  # noqa: E402
from bellcrank.document.build_document import build_document  # noqa: E402
from bellcrank.emit.description import TargetError  # noqa: E402
from bellcrank.emit.options import OptionError, chosen  # noqa: E402
from bellcrank.emit.render import render_target  # noqa: E402
from bellcrank.emit.target import load_target  # noqa: E402
from bellcrank.readback.readers import READERS, NotReadError, read  # noqa: E402
from bellcrank.rehearsal.acts import run_script  # noqa: E402
from bellcrank.rehearsal.railway import Railway  # noqa: E402
from bellcrank.rehearsal.script import read_script  # noqa: E402
from bellcrank.sending.log_file import LogError, LogFile  # noqa: E402
from bellcrank.sending.log_rows import Begun, Commanded, Ended, Entry  # noqa: E402
from bellcrank.sending.log_rows import written as written_row  # noqa: E402
from bellcrank.sending.sent_before import thrown_before  # noqa: E402
from bellcrank.syntax.formatter import format_source  # noqa: E402
from bellcrank.syntax.parse import parse  # noqa: E402

SECONDS = 10
"""Of the processor, for one case."""

MEMORY = 2_000_000_000
"""Bytes that a process of the campaign may have in use."""

IN_FULL = {
    "layouts": 100_000,
    "scripts": 20_000,
    "descriptions": 20_000,
    "files read back": 20_000,
    "logs": 20_000,
    "command lines": 3_000,
}
"""Cases of each sort."""

OUTCOMES = ("proved", "unmet", "refuted", "undecided", "no routes")

AT_ONCE = 250
"""Cases that a process is given at a time."""


@dataclass
class Found:
    """What came of some cases: how many ended in which way, and those that ended badly."""

    ends: Counter[str] = field(default_factory=Counter)
    bad: list[str] = field(default_factory=list)
    slowest: float = 0.0
    megabytes: int = 0

    def add(self, other: Found) -> None:
        self.ends += other.ends
        self.bad += other.bad
        self.slowest = max(self.slowest, other.slowest)
        self.megabytes = max(self.megabytes, other.megabytes)


# ------------------------------------------------------------------- each sort


def layout(random: Random) -> str:
    """A text compiled and, if it is sound, proved, most without any time for it. Returns
    what came of it."""
    text = texts.any_layout(random)
    c = bellcrank.compile(text, "any.crank")
    told(c.diagnostics, c.program.texts)
    assert isinstance(c, Broken) == any(d.severity == "error" for d in c.diagnostics)
    if isinstance(c, Sound):
        seconds = 1.0 if random.random() < 0.1 else 0.0
        assert bellcrank.prove(c, seconds=seconds).outcome in OUTCOMES
    if random.random() < 0.1:
        source, found = parse(text, "any.crank")
        if not found:
            format_source(source)
    return "sound" if isinstance(c, Sound) else c.diagnostics[0].code


@cache
def railway() -> tuple[Railway, dict[str, tuple[str, ...]]]:
    """A railway, and for each word in capitals of the forms of lines what could stand there."""
    c = compiled(texts.TRACK)
    known = Railway(c.machine, c.layout, c.table)
    names = {
        "ROUTE": tuple(c.table.routes),
        "SIGNAL": tuple(c.layout.signals),
        "EDGE": tuple(c.layout.edges),
        "DRIVE": tuple(map(str, c.layout.drive_of)),
        "POSITION": ("straight", "diverging"),
        "ASPECT": ("stop", "proceed"),
        "PLACE": tuple(known.parts_of),
        "SECTION": tuple(c.layout.sections) or tuple(c.layout.section_of),
        "CAUSE": (*c.table.routes, *map(str, c.layout.drive_of)),
        "EVENT": tuple(event.name for event in c.machine.events),
    }
    return known, names


def script(random: Random) -> str:
    """A script read and, if it can be, run."""
    known, names = railway()
    text = texts.any_script(random, names)
    lines, found = read_script(text, "any.rehearsal", known)
    told(found, {"any.rehearsal": text})
    if found:
        return found[0].code
    outcomes = run_script(known, lines[:40])
    return "passes" if all(o.good for o in outcomes) else "fails"


DESCRIPTIONS = (
    "context = 1\nname = 'card'\npurpose = 'a card'\n[[files]]\npath = 'a.txt'\n"
    "template = 'a.jinja'\n[options.range]\ntype = 'text'\npattern = '[0-9]{2}'\ndefault = '05'\n",
    "context = 1\nneeds = ['hardware', 'numbering']\nreads_back = 'json'\nwithout = ['vectors']\n"
    "extras = ['picture']\ndefault = false\nline = 'l.jinja'\ntopic = 't.jinja'\n[[files]]\n"
    "path = 'a/b.html'\ntemplate = 'b.jinja'\npdf = 'a/b.pdf'\n",
    "context = 1\n[options.n]\ntype = 'number'\ndefault = 5\nhelp = 'how many'\n[options.c]\n"
    "type = 'choice'\nchoices = ['a', 'b']\ndefault = 'a'\n[[files]]\npath='x'\ntemplate='y'\n",
)

VALUES = ["true", "[]", "{}", "1979-05-27", "inf", "nan", "-1", "''", "[[1]]", "{a = 1}", "0x1F",
          '"\\u001b"', "'../x'", "'(a+)+'", "1e400", "'''\n'''", "[" * 400]  # fmt: skip


def description(random: Random) -> str:
    """The target.toml of a folder of the user's own."""
    text = random.choice(DESCRIPTIONS)
    if random.random() < 0.6:
        said = re.findall(r"(?<== )[^\n]+", text)
        text = text.replace(random.choice(said), random.choice(VALUES), 1)
    if random.random() < 0.7:
        text = texts.slipped(random, [text], 3)
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "target.toml").write_bytes(_bytes(random, text))
        try:
            target = load_target(folder)
            # To match a pattern may take for ever; that is bounded elsewhere.
            chosen(
                [o for o in target.options if o.pattern is None],
                {"n": texts.any_characters(random)},
            )
        except (TargetError, OptionError) as error:
            assert str(error).strip()
            return "refused"
    return "read"


@cache
def written() -> dict[str, dict[str, bytes]]:
    """For each form of commands files that are sound."""
    text = f"""{texts.TRACK}
numbering from decoder 1
drive P = quad coil 200 ms
drive P1 = quad coil 200 ms
signal H = quad
"""
    data = build_document(undecided(text))
    return {
        name: render_target(load_target(target), data, {"range": "05.01.01.01.22.00"})
        for name, target in (("csv", "csv"), ("json", "json"), ("packets", "packets"),
                             ("events", "events"), ("messages", "mqtt"))
    }  # fmt: skip


def file_read_back(random: Random) -> str:
    """Files of commands, spoilt."""
    reader = random.choice(sorted(READERS))
    files = dict(written()[reader])
    name = random.choice(sorted(files))
    text = files[name].decode("utf-8")
    start = random.randrange(max(1, len(text) - 1_500))
    if random.random() < 0.5:
        text = texts.slipped(random, [text[:2_500]])
    else:
        cut = texts.slipped(random, [text[start : start + 300]])
        text = text[:start] + cut + text[start + 300 :]
    files[name] = _bytes(random, text)
    try:
        read(reader, files)
    except NotReadError as error:
        assert str(error).isprintable()
        return "refused"
    return "read"


OLDER_LOG = """\
2024-05-01 10:00:00.000  sent: drive P straight    line
2024-05-01 10:00:01.000  by hand: signal H stop
2024-05-01 10:00:02.000  may have arrived or not: 2
2024-05-01 10:00:02.000    drive P diverging    line
"""

AT = datetime(2024, 5, 1, 10, tzinfo=UTC)

LOG = "".join(
    written_row(Entry(AT, row))
    for row in (
        Begun("set H to J", "terminal", "csv", "proved", ("a.crank",), "00", "1", "not certified"),
        Commanded("sent", "drive", "P", "straight", text="P straight"),
        Commanded("sent", "signal", "H", "proceed", "a/b", "H proceed"),
        Ended("done", "all was sent"),
    )
)

MOMENTS = ["0001-01-01T00:00:00.000+14:00", "9999-12-31T23:59:59.999-14:00", "2024-02-30T10:00",
           "0001-01-01 00:00:00.000", "9999-12-31 23:59:59.999", "24:00", "NaN"]  # fmt: skip


def log(random: Random) -> str:
    """The log of what was sent, spoilt."""
    text = random.choice((LOG, OLDER_LOG, LOG + OLDER_LOG, OLDER_LOG + LOG))
    if random.random() < 0.3:
        moments = re.findall(r"\d{4}-\d\d-\d\d[T ][\d:.+]+", text)
        text = text.replace(random.choice(moments), random.choice(MOMENTS))
    if random.random() < 0.8:
        text = texts.slipped(random, [text])
    now = AT + timedelta(hours=2)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log"
        path.write_bytes(_bytes(random, text))
        try:
            file = LogFile(path)
        except LogError as error:
            assert str(error).strip()
            return "refused"
        try:
            said = file.read(now)
            thrown = thrown_before(said.entries, now)
        finally:
            file.close()
    return "damaged" if said.damaged else "with throws" if thrown else "without throws"


COMMANDS = sorted(set(bellcrank_commands.COMMANDS) - {"commission", "editor"})
"""Without the one that only asks questions, and the one that speaks to a program until it ends."""

WORDS = [
    *COMMANDS,
    *"""a.crank b.crank nosuch . /
/dev/null a.rehearsal -h --help --json --version --fix --spare --target csv packets own --option
range=05.01.01.01.22.00 a=b --out out --time-limit 0 1 -1 nan 1e99 --allow-unproved --pdf
--obligations o --lying P=straight P:straight --start-up --cancel H to B H to T1 via P then P1
calling on S1 to WEST X E101 W801 E999 --check --stdout -- - "" a=""".split(),
]


def command(random: Random) -> str:
    """Words on the command line, in a folder with a few files."""
    words = [random.choice(COMMANDS), "a.crank"] if random.random() < 0.8 else []
    words += [random.choice(WORDS) for _ in range(random.randrange(7))]
    if random.random() < 0.3:
        words.insert(random.randrange(len(words) + 1), random.choice(texts.HOSTILE))
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        Path("a.crank").write_text(texts.TRACK)
        Path("b.crank").write_bytes(_bytes(random, texts.any_layout(random)))
        Path("a.rehearsal").write_text("request H to J\n")
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                status = command_line(words)
            except SystemExit as error:
                status = error.code if isinstance(error.code, int) else 1
        assert status in (0, 1, 2, 3), status
        assert status != 2 or out.getvalue() or err.getvalue(), words
        assert "Traceback" not in err.getvalue(), err.getvalue()
        assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e]", err.getvalue()), words
    return f"status {status}"


SORTS: dict[str, Callable[[Random], str]] = {
    "layouts": layout,
    "scripts": script,
    "descriptions": description,
    "files read back": file_read_back,
    "logs": log,
    "command lines": command,
}


def told(diagnostics: tuple[Diagnostic, ...], sources: dict[str, str]) -> None:
    """Hold diagnostics to what is promised of them."""
    for d in diagnostics:
        shown = render(d, sources)
        assert re.fullmatch(r"[EW]\d{3}", d.code) and d.message.strip()
        assert all(row.isprintable() for row in shown.split("\n")), d
        rows = sources[d.span.file].split("\n")
        assert (
            1 <= d.span.line <= len(rows) and 1 <= d.span.column <= len(rows[d.span.line - 1]) + 1
        )


def _bytes(random: Random, text: str) -> bytes:
    data = text.encode("utf-8", "surrogatepass" if random.random() < 0.3 else "replace")
    if random.random() < 0.05 and data:
        at = random.randrange(len(data))
        data = data[:at] + random.randbytes(random.randint(1, 4)) + data[at:]
    return data


# ---------------------------------------------------------------------- running


class TakesTooLongError(Exception):
    """A case that has used as much of the processor as any may."""


def _too_long(_: int, __: FrameType | None) -> None:
    raise TakesTooLongError


def case(sort: str, number: int) -> tuple[str, str | None]:
    """How one case ended, and what is wrong with that, if anything is."""
    try:
        return SORTS[sort](Random(f"{sort} {number}")), None
    except BaseException:
        return "BAD", f"{sort} {number}\n{traceback.format_exc()[-3_000:]}"


def run(sort: str, first: int, count: int) -> Found:
    """Run cases one after another."""
    found = Found()
    bounded = hasattr(signal, "setitimer")
    if bounded:
        signal.signal(signal.SIGPROF, _too_long)
    for number in range(first, first + count):
        if bounded:
            signal.setitimer(signal.ITIMER_PROF, SECONDS)
        began = time.process_time()
        end, wrong = case(sort, number)
        found.ends[end] += 1
        found.slowest = max(found.slowest, time.process_time() - began)
        if wrong is not None:
            found.bad.append(wrong)
    if bounded:
        signal.setitimer(signal.ITIMER_PROF, 0)
        import resource

        found.megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    return found


def _begin() -> None:
    sys.stdin = io.StringIO()
    with contextlib.suppress(ImportError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (2 * MEMORY, 2 * MEMORY))


def campaign(share: float, processes: int = 2) -> dict[str, Found]:
    """A share of the whole campaign, spread over processes."""
    results = {sort: Found() for sort in SORTS}
    with ProcessPoolExecutor(processes, get_context("spawn"), _begin) as pool:
        for sort, found in _runs(pool, share):
            results[sort].add(found)
    return results


def _runs(pool: ProcessPoolExecutor, share: float) -> Iterator[tuple[str, Found]]:
    jobs = []
    for sort, count in IN_FULL.items():
        wanted = max(1, round(count * share))
        for first in range(0, wanted, AT_ONCE):
            jobs.append((sort, pool.submit(run, sort, first, min(AT_ONCE, wanted - first))))
    for sort, job in jobs:
        yield sort, job.result()


def report(results: dict[str, Found]) -> str:
    """The counts, as a table and with what ended badly."""
    lines = []
    for sort, found in results.items():
        ends = ", ".join(f"{n:,} {end}" for end, n in found.ends.most_common(6))
        lines.append(
            f"{sort}: {found.ends.total():,}, bad {len(found.bad)}, slowest {found.slowest:.2f} s, "
            f"{found.megabytes} MB ({ends}, …)"
        )
    return "\n".join([*lines, *(wrong for found in results.values() for wrong in found.bad[:5])])


def share_wanted(usually: float = 1.0) -> float:
    """The share of the campaign that the environment asks for."""
    return float(os.environ.get("BELLCRANK_CAMPAIGN", usually))


if __name__ == "__main__":
    if len(sys.argv) > 2:
        sort, number = " ".join(sys.argv[1:-1]), int(sys.argv[-1])
        print(json.dumps(case(sort, number)[0]), case(sort, number)[1] or "")
    else:
        began = time.monotonic()
        print(report(campaign(share_wanted())))
        print(f"in {time.monotonic() - began:.0f} s")
