"""The command line: reads arguments, runs the stages, prints what they found."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from rich.text import Text

from bellcrank.commission_command import add_commission
from bellcrank.compilation import Compilation, compile_file
from bellcrank.diagnostics import Collector, Diagnostic, as_json, has_errors
from bellcrank.emit.document import (
    conflict_data,
    document,
    moving_data,
    route_data,
    timetable_data,
    verdict_data,
)
from bellcrank.emit.extras import extras
from bellcrank.emit.files import write_files
from bellcrank.emit.mending import (
    SECONDS_FOR_FIX,
    SECONDS_FOR_PROPOSAL,
    NotMendedError,
    RulesFound,
    fix,
    propose,
    rules_data,
    spare,
)
from bellcrank.emit.options import OptionError, split
from bellcrank.emit.pdf import PdfError, pdf_from
from bellcrank.emit.render import render_target
from bellcrank.emit.tables import (
    conflict_matrix,
    control_table,
    route_text,
)
from bellcrank.emit.target import (
    Target,
    TargetError,
    built_in_targets,
    default_targets,
    load_target,
)
from bellcrank.emit.timetables import timetable_text
from bellcrank.emit.verdicts import verdict_text
from bellcrank.error_pages import explain, known_codes
from bellcrank.machine.locking import written_rules_between
from bellcrank.machine.wording import Rule
from bellcrank.picture.sketch import sketch
from bellcrank.picture_command import add_picture
from bellcrank.proof.forbidding import never_settable
from bellcrank.proof.moving import Effort
from bellcrank.proof.solving import NoSolverError
from bellcrank.proof.standing import can_stand
from bellcrank.proof.writing import obligation_files
from bellcrank.readback.check import read_back
from bellcrank.rehearse_command import add_rehearse
from bellcrank.routes.model import Route, RouteTable
from bellcrank.routes.naming import COMMAND_LINE, asked_refs, asked_routes, report_number
from bellcrank.routes.sentences import why_conflict
from bellcrank.send_command import add_send
from bellcrank.syntax.format import format_source
from bellcrank.syntax.load import load_file
from bellcrank.terminal import (
    drop_output,
    prepare,
    print_diagnostics,
    print_json,
    progress,
    say,
    show,
    width,
)
from bellcrank.timing.lists import to_cancel, to_set, to_start_up
from bellcrank.timing.lying import LyingError, read_lying
from bellcrank.version import NOTICE, __version__

PROVED, REFUTED, FAULTY, UNDECIDED = 0, 1, 2, 3

STOPPED = 130
"""What a shell reports of a program stopped by Ctrl-C."""

UNREAD = 141
"""What a shell reports of a program whose reader went away."""

_STATUS = {"proved": PROVED, "refuted": REFUTED, "undecided": UNDECIDED}

_EXIT_CODES = """\
exit status:
  0  proved, and every expectation holds
  1  refuted, or an expectation fails
  2  an error in the input or on the command line
  3  undecided: no answer within the time given
130  stopped by Ctrl-C; 141 if what reads the output went away
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    prepare()
    options = _parser().parse_args(arguments)
    try:
        status: int = options.run(options)
        if sys.stdout is not None:
            sys.stdout.flush()
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return STOPPED
    except NoSolverError as error:
        return _fail(str(error))
    except BrokenPipeError:
        # The reader of our output has gone, so what was found cannot be told.
        drop_output()
        return UNREAD
    except OSError as error:
        drop_output()
        with suppress(OSError):
            say(f"the output cannot be written: {error.strerror}")
        return FAULTY
    return status


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="bellcrank",
        description="Prove that no two routes of a model railway can meet, and write "
        "the tables and command lists that go with the proof.",
        epilog=_EXIT_CODES + "\n" + NOTICE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"bellcrank {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)

    check = _command(
        commands,
        "check",
        "prove the layout, or show what is wrong",
        "bellcrank check harbour-terminus.crank\nbellcrank check harbour-terminus.crank --json\n"
        "bellcrank check harbour-terminus-forgetful.crank --fix",
    )
    _proof_options(check)
    rules = check.add_mutually_exclusive_group()
    rules.add_argument(
        "--fix",
        action="store_true",
        help="write the rules that a `locking written` block lacks into it, and check again",
    )
    rules.add_argument(
        "--spare",
        action="store_true",
        help="list the written rules that could be left out of a locking that is proved",
    )
    check.add_argument(
        "--obligations",
        type=Path,
        metavar="FOLDER",
        help="write every obligation there as a file for SMT-LIB solvers",
    )
    check.set_defaults(run=_check)

    build = _command(
        commands,
        "build",
        "prove the layout and write its files",
        "bellcrank build harbour-terminus.crank\n"
        "bellcrank build harbour-terminus.crank --out bench --target csv",
    )
    build.add_argument(
        "--out", type=Path, metavar="FOLDER", help="where to write (default: named after FILE)"
    )
    build.add_argument(
        "--target",
        action="append",
        metavar="NAME",
        help="a built-in target or the folder of your own; may be given again "
        f"(default: {' and '.join(default_targets())}; only where asked for: {_asked_for()})",
    )
    build.add_argument(
        "--option",
        action="append",
        metavar="NAME=VALUE",
        help="what a target lets you state, such as `range=05.01.01.01.22.00`; "
        "see the target's lines in targets/README.md",
    )
    build.add_argument(
        "--pdf",
        action="store_true",
        help="make pages, such as those of the target sheets, into PDF too; needs bellcrank[paper]",
    )
    build.add_argument(
        "--allow-unproved",
        action="store_true",
        help="write the files even if the proof fails; each of them then says UNPROVED",
    )
    _proof_options(build)
    build.set_defaults(run=_build)

    table = _command(
        commands,
        "table",
        "show the control table and the conflict matrix",
        "bellcrank table harbour-terminus.crank",
    )
    table.set_defaults(run=_table)

    why = _command(
        commands,
        "why",
        "explain a route, or why two routes conflict or may run together",
        'bellcrank why harbour-terminus.crank "W1 to T1"\n'
        "bellcrank why harbour-terminus.crank W1 to T1 G1 to T2",
    )
    why.add_argument("routes", nargs="+", metavar="ROUTE", help="one route, or two")
    why.set_defaults(run=_why)

    _add_commands(commands)
    add_rehearse(commands)
    add_send(commands)
    add_commission(commands)
    add_picture(commands)

    form = commands.add_parser(
        "format",
        help="write a layout file in the usual form",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="examples:\n  bellcrank format terminus.crank\n"
        "  bellcrank format terminus.crank --write",
    )
    form.add_argument("file", type=Path, metavar="FILE")
    form.add_argument("--write", action="store_true", help="change the file in its place")
    form.set_defaults(run=_format)

    page = commands.add_parser(
        "explain",
        help="explain an error by its code",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="examples:\n  bellcrank explain E311",
    )
    page.add_argument("code", nargs="?", metavar="CODE", help="without one, lists them all")
    page.set_defaults(run=_explain)
    return parser


def _add_commands(commands: Any) -> None:
    timed = _command(
        commands,
        "commands",
        "show what is sent, and when, to set or cancel a route or to start up",
        'bellcrank commands harbour-terminus.crank "W1 to T1"\n'
        'bellcrank commands harbour-terminus.crank W1 to T1 --lying "P1 straight, S1 diverging"\n'
        "bellcrank commands harbour-terminus.crank W1 to T1 --cancel\n"
        "bellcrank commands harbour-terminus.crank --start-up",
    )
    route = timed.add_argument("routes", nargs="+", metavar="ROUTE", help="the route")

    class StartUp(argparse.Action):
        """Asks for the start-up, for which no route is named."""

        def __call__(self, parser: Any, namespace: Any, values: Any, option: Any = None) -> None:
            route.required = False
            namespace.start_up = True

    which = timed.add_mutually_exclusive_group()
    which.add_argument("--cancel", action="store_true", help="cancel the route")
    which.add_argument(
        "--lying",
        metavar="DRIVES",
        help="where drives lie at present: those that lie right are left alone "
        "(default: not known, so all are thrown)",
    )
    which.add_argument(
        "--start-up",
        action=StartUp,
        nargs=0,
        default=False,
        help="in place of a route: all signals to stop, all drives to their first position",
    )
    timed.set_defaults(run=_commands)


class _Parser(argparse.ArgumentParser):
    """Errors on the command line count as errors in the input."""

    def error(self, message: str) -> Any:
        self.print_usage(sys.stderr)
        self.exit(FAULTY, f"{self.prog}: {message}\n")


def _command(commands: Any, name: str, purpose: str, examples: str) -> argparse.ArgumentParser:
    shown = "\n".join("  " + line for line in examples.split("\n"))
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=purpose,
        description=purpose[0].upper() + purpose[1:] + ".",
        epilog=f"examples:\n{shown}\n\n{_EXIT_CODES}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="a layout (.crank)")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument(
        "--time-limit",
        type=_seconds,
        metavar="SECONDS",
        help="give up the proof after this long; what is left open is undecided",
    )
    return parser


def _asked_for() -> str:
    """The built-in targets that are written only where they are asked for, each with
    what must then be stated."""
    told = []
    for name in built_in_targets():
        target = load_target(name)
        if not target.default:
            must = [f"--option {o.name}=…" for o in target.options if o.default is None]
            must += [n for n in target.needs if n != "hardware"]
            told.append(f"{name} (needs {' and '.join(must)})" if must else name)
    return ", ".join(told)


def _proof_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--recheck",
        action="store_true",
        help="have a second solver, cvc5, decide every obligation again",
    )


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not 0 <= seconds < 1e9:
        raise argparse.ArgumentTypeError(f"`{text}` is no number of seconds")
    return seconds


# ------------------------------------------------------------------- commands


def _check(options: argparse.Namespace) -> int:
    c = _compile(options, _effort(options))
    if options.obligations is not None and c.layout and c.table and c.locking and c.moving:
        files = obligation_files(c.layout, c.table, c.locking, c.moving)
        failure = _written(options.obligations, files)
        if failure:
            return _fail(failure)
    try:
        found = _rules(options, c)
    except NotMendedError as error:
        return _fail(f"nothing is written: {error}")
    except OSError as error:
        return _fail(f"{error.filename or options.file} cannot be written: {error.strerror}")
    if found.mended is not None:
        c = _compile(options, _effort(options))
    barred: Mapping[str, Sequence[Rule]] = {}
    if c.layout and c.locking and c.verdict:
        barred = never_settable(c.layout, c.locking, c.verdict, c.moving)
    if options.json:
        print_json({"status": _status_word(c), **_report(c), **rules_data(found, barred)})
        return _status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    if c.verdict and c.layout and c.table:
        again = found.mended is not None
        text = verdict_text(
            c.verdict,
            c.moving,
            c.layout,
            c.table,
            width(),
            barred=barred,
            repair=None if again else found.repair,
        )
        show(text)
        for line in found.notes:
            show(Text(line))
    return _status(c)


def _rules(options: argparse.Namespace, c: Compilation) -> RulesFound:
    """What `check` tells beside the verdict: rules that are missing, or not wanted."""
    if not c.ok:
        return RulesFound()
    limit = options.time_limit
    with progress() as tell:
        if options.fix:
            return fix(c, options.file, SECONDS_FOR_FIX if limit is None else limit, tell)
        if options.spare:
            return spare(c, limit, tell)
        few = SECONDS_FOR_PROPOSAL
        return propose(c, few if limit is None else min(few, limit), tell)


def _build(options: argparse.Namespace) -> int:
    try:
        targets = [load_target(name) for name in dict.fromkeys(options.target or default_targets())]
        given = split(options.option or [], [o for target in targets for o in target.options])
        if options.pdf and not any(file.pdf for target in targets for file in target.files):
            raise TargetError("--pdf is for targets of pages, such as --target sheets")
    except (TargetError, OptionError) as error:
        return _fail(str(error))
    c = _compile(options, _effort(options))
    if c.verdict is None or c.layout is None or c.table is None:
        return _nothing_built(c, as_json=options.json)
    if not c.proved and not options.allow_unproved:
        return _nothing_built(c, as_json=options.json)
    if not options.json:
        print_diagnostics(c.diagnostics, c.program.texts)
    data = document(c)
    files: dict[str, bytes] = {}
    try:
        for target in targets:
            made = render_target(target, data, given, extras(c, data))
            _read_back(target, made, c)
            if options.pdf:
                made |= _pages(target, made)
            for name, content in made.items():
                if name in files:
                    raise TargetError(f"two targets write {name}; build them into two folders")
                files[name] = content
    except (TargetError, PdfError) as error:
        return _fail(str(error))
    folder: Path = options.out or Path(options.file.name).with_suffix("")
    failure = _written(folder, files)
    if failure:
        return _fail(failure)
    written = [folder / name for name in files]
    if options.json:
        print_json({"status": _status_word(c), "files": [str(p) for p in written], **_report(c)})
    else:
        for path in written:
            print(path)
        show(Text.assemble("status: ", _coloured_status(c)))
    return _status(c)


def _pages(target: Target, made: Mapping[str, bytes]) -> dict[str, bytes]:
    """What a target has written once more as PDF, where it is made for that."""
    return {file.pdf: pdf_from(made[file.path], file.path) for file in target.files if file.pdf}


def _read_back(target: Target, made: dict[str, bytes], c: Compilation) -> None:
    """Play the commands that a target has written on a simulated bench.

    Raises TargetError if they do not do what was proved.
    """
    if target.reads_back is None:
        return
    assert c.layout is not None and c.table is not None and c.machine is not None
    wrong = read_back(target.reads_back, made, c.layout, c.table, c.machine)
    if wrong:
        raise TargetError(
            f"what the target {target.name} writes does not do what was proved: {wrong[0]}"
            + (f"; and {len(wrong) - 1} more" if len(wrong) > 1 else "")
        )


def _written(folder: Path, files: dict[str, bytes]) -> str:
    """Write files; a sentence if they cannot be written."""
    try:
        write_files(folder, files)
    except (FileExistsError, NotADirectoryError):
        return f"{folder} cannot be written to: it is, or lies in, a file and no folder"
    except OSError as error:
        return f"{error.filename or folder} cannot be written: {error.strerror}"
    return ""


def _nothing_built(c: Compilation, *, as_json: bool) -> int:
    if as_json:
        print_json({"status": _status_word(c), "files": [], **_report(c)})
        return _status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    if c.verdict and c.layout and c.table:
        show(verdict_text(c.verdict, c.moving, c.layout, c.table, width()))
        say("nothing is written: the layout is not proved (--allow-unproved writes all the same)")
    return _status(c)


def _table(options: argparse.Namespace) -> int:
    c = _compile(options, Effort())
    if options.json:
        report = _report(c)
        if c.table and c.layout:
            routes = [route_data(r, c.table) for r in c.table.routes.values()]
            conflicts = [conflict_data(*pair, c.table, c.layout) for pair in c.table.conflicts]
            report |= {"routes": routes, "conflicts": conflicts}
        print_json({"status": _status_word(c), **report})
        return _status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    if c.verdict and c.table:
        show(control_table(c.table, width()))
        show("")
        show(conflict_matrix(c.table, width()))
        show(Text.assemble("status: ", _coloured_status(c)))
    return _status(c)


def _why(options: argparse.Namespace) -> int:
    c = _compile(options, None)
    if c.table is None or c.layout is None or not c.ok:
        if options.json:
            print_json({"status": _status_word(c), **_report(c)})
        else:
            print_diagnostics(c.diagnostics, c.program.texts)
        return FAULTY
    text = " ".join(options.routes)
    routes, diagnostics = _find_routes(text, c.table)
    if diagnostics:
        if options.json:
            found = [as_json(d) for d in diagnostics]
            print_json({"status": "error", "diagnostics": found, "verdict": None})
        else:
            print_diagnostics(diagnostics, {COMMAND_LINE: text})
        return FAULTY
    if len(routes) == 1:
        if options.json:
            print_json(route_data(routes[0], c.table))
        else:
            show(route_text(routes[0], c.layout, c.table, width()))
        return PROVED
    _explain_pair(c, routes[0], routes[1], as_json=options.json)
    return PROVED


def _commands(options: argparse.Namespace) -> int:
    if options.start_up and options.routes:
        return _fail("--start-up is for the whole layout: name no route with it")
    c = _compile(options, Effort())
    if c.table is None or c.layout is None or c.locking is None or c.verdict is None:
        if options.json:
            print_json({"status": _status_word(c), **_report(c)})
        else:
            print_diagnostics(c.diagnostics, c.program.texts)
        return FAULTY
    known = (c.layout, c.table, c.locking)
    if options.start_up:
        timetable = to_start_up(*known)
    else:
        text = " ".join(options.routes)
        routes, diagnostics = _find_routes(text, c.table)
        if not diagnostics and len(routes) != 1:
            return _fail(f"`{text}` names two routes; their commands are told one by one")
        if diagnostics:
            if options.json:
                found = [as_json(d) for d in diagnostics]
                print_json({"status": "error", "diagnostics": found, "verdict": None})
            else:
                print_diagnostics(diagnostics, {COMMAND_LINE: text})
            return FAULTY
        try:
            lying = None if options.lying is None else read_lying(options.lying, c.layout)
        except LyingError as error:
            return _fail(f"--lying: {error}")
        if options.cancel:
            timetable = to_cancel(*known, routes[0].name)
        else:
            timetable = to_set(*known, routes[0].name, lying)
    if options.json:
        print_json(
            {
                "status": _status_word(c),
                **_report(c),
                "timetable": timetable_data(timetable, c.layout),
                "notice": NOTICE,
            }
        )
        return _status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    show(timetable_text(timetable, width()))
    show(Text.assemble("status: ", _coloured_status(c)))
    show(Text(NOTICE))
    return _status(c)


def _explain_pair(c: Compilation, one: Route, other: Route, *, as_json: bool) -> None:
    assert c.layout and c.table and c.locking
    why = why_conflict(one, other, c.layout, c.table)
    rules = written_rules_between(c.locking, one.name, other.name)
    if as_json:
        pair = (one.name, other.name)
        if pair not in c.table.conflicts:
            pair = pair[::-1]
        reasons = conflict_data(*pair, c.table, c.layout)["reasons"]
        names = [one.name, other.name]
        print_json(
            {
                "routes": names,
                "conflict": bool(why),
                "reasons": reasons,
                "written_rules": rules,
                "can_stand": can_stand(c.layout, c.table, c.locking, names),
            }
        )
        return
    standing = can_stand(c.layout, c.table, c.locking, (one.name, other.name))
    sentence = f"{one.name} and {other.name} conflict: {why}."
    if not why:
        sentence = (
            f"{one.name} and {other.name} {'may run together' if standing else 'do not meet'}: "
            "they share no section, no fitting and no drive in opposite positions."
        )
    show(Text(sentence))
    if why:
        for line in sketch(c.layout, one, other, width() - 2):
            show(Text(f"  {line}"))
    for rule in rules:
        show(Text(f"A written rule keeps them apart: {rule}."))
    if standing is None:
        show(Text("Whether the locking lets both be set could not be decided."))
    elif why and standing:
        show(Text("The locking lets both be set all the same."))
    elif not why and not standing and not rules:
        show(Text("The locking, taken as a whole, never lets both be set."))


def _format(options: argparse.Namespace) -> int:
    program, diagnostics = load_file(options.file, follow=False)
    print_diagnostics(diagnostics, program.texts)
    if has_errors(diagnostics):
        return FAULTY
    text = format_source(program.files[-1])
    if not options.write:
        sys.stdout.write(text)
        return PROVED
    if program.texts[program.files[-1].name] != text:
        try:
            write_files(options.file.parent, {options.file.name: text.encode("utf-8")})
        except OSError as error:
            return _fail(f"{options.file} cannot be written: {error.strerror}")
    return PROVED


def _explain(options: argparse.Namespace) -> int:
    if options.code is None:
        for code, title in known_codes().items():
            print(f"{code}  {title}")
        return PROVED
    code = options.code.upper()
    page = explain(code) or explain(f"E{code}")
    if page is None:
        return _fail(f"there is no error {options.code}; `bellcrank explain` lists them")
    print(page)
    return PROVED


# ------------------------------------------------------- what commands share


def _find_routes(text: str, table: RouteTable) -> tuple[list[Route], tuple[Diagnostic, ...]]:
    """The one or two routes that the words of a command mean."""
    found = Collector()
    refs = asked_refs(text, table.routes)
    if len(refs) > 2:
        report_number(text, refs, "one route, or two", found)
    routes = asked_routes(refs, table.routes, found)
    if not found.diagnostics and len(routes) == 2 and routes[0] is routes[1]:
        found.report(
            "E402", "these are one and the same route", refs[1].span, expected="two routes"
        )
    return routes, found.result()


def _compile(options: argparse.Namespace, effort: Effort | None) -> Compilation:
    """Compile the file of a command; without an effort there is no moving proof."""
    with progress() as tell:
        return compile_file(options.file, seconds=options.time_limit, effort=effort, progress=tell)


def _effort(options: argparse.Namespace) -> Effort:
    return Effort(recheck=options.recheck)


def _status(c: Compilation) -> int:
    if c.moving is not None and c.moving.stopped == "by Ctrl-C":
        return STOPPED
    return FAULTY if not c.ok or c.verdict is None else _STATUS[c.outcome]


def _status_word(c: Compilation) -> str:
    return "error" if not c.ok or c.verdict is None else c.outcome


def _coloured_status(c: Compilation) -> tuple[str, str]:
    return ("proved", "green") if c.proved else ("UNPROVED", "bold red")


def _report(c: Compilation) -> dict[str, Any]:
    return {
        "diagnostics": [as_json(d) for d in c.diagnostics],
        "verdict": verdict_data(c.verdict) if c.verdict else None,
        "moving": moving_data(c.moving) if c.moving else None,
    }


def _fail(message: str) -> int:
    say(message)
    return FAULTY
