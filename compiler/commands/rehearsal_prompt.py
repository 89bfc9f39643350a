"""The prompt of `rehearse`: lines typed one after another, and a few words of its own."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from rich.console import Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bellcrank.commands.exit_statuses import FAULTY
from bellcrank.commands.reading_script import script_of
from bellcrank.commands.rehearsal_told import tell_outcome
from bellcrank.compilation import Sound
from bellcrank.diagnostics import Diagnostic, did_you_mean, has_errors
from bellcrank.file_sets.single_files import write_files, write_new_file
from bellcrank.machine.machine_model import State
from bellcrank.rehearsal.acts import first_moment, perform
from bellcrank.rehearsal.forms import ACTS, EXPECTATIONS
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.retelling import what_could_be_done
from bellcrank.rehearsal.script import Line, Reader
from bellcrank.rehearsal.sessions import SUFFIX, Session, saved
from bellcrank.running.reasons import fact, whereabouts
from bellcrank.terminal.console import print_diagnostics, show

PASSED, FAILED = 0, 1

_HELP = {
    "possible": "what could be done now, in the words that would do it",
    "state": "trains, routes, signals and drives, as they are",
    "undo": "take the last act back",
    "begin again": "from the start; `undo` brings back what was done",
    f"save NAME{SUFFIX}": "write a script that leads to where things are now",
    f"load NAME{SUFFIX}": "begin again with a script",
    "help": "this list",
    "quit": "leave",
}
"""The words of the prompt that no script has."""

_OF_OTHER_PROMPTS = {
    "exit": "quit",
    "bye": "quit",
    "q": "quit",
    "stop": "quit",
    "end": "quit",
    "?": "help",
    "list": "possible",
    "what": "possible",
    "show": "state",
    "status": "state",
    "back": "undo",
    "restart": "begin again",
    "write": f"save NAME{SUFFIX}",
    "open": f"load NAME{SUFFIX}",
    "play": f"load NAME{SUFFIX}",
}
"""What the same is called elsewhere."""


def ask_for_lines(c: Sound, railway: Railway, heading: str) -> int:
    """Take lines until there are no more; returns the exit status.

    heading: what is said first to whoever types.
    """
    typed = sys.stdin is not None and sys.stdin.isatty()
    if typed:
        with suppress(ImportError):
            import readline  # noqa: F401  # lets lines be edited and called back
        show(f"{heading} `help` lists what can be said.")
    prompt = _Prompt(c, railway, Session(first_moment(railway)), typed)
    for number, row in enumerate(_rows(typed=typed), start=1):
        said = row.split("#", 1)[0].strip()
        if said == "quit":
            break
        if not prompt.answers(said):
            prompt.take(row, number, said)
    return PASSED if typed else prompt.status


@dataclass(slots=True)
class _Prompt:
    """What has been said so far. written: the files that this session was saved in."""

    c: Sound
    railway: Railway
    session: Session
    typed: bool
    status: int = PASSED
    written: set[Path] = field(default_factory=set)
    _reader: Reader = field(init=False)

    def __post_init__(self) -> None:
        self._reader = Reader(self.railway, "typed")

    def take(self, row: str, number: int, said: str) -> None:
        """A line as a script has it."""
        line = self._reader.line(row, number)
        diagnostics = self._reader.found.diagnostics
        if diagnostics:
            found = [_with_words_of_the_prompt(d, said) for d in diagnostics]
            print_diagnostics(found, {"typed": "\n" * (number - 1) + row})
            diagnostics.clear()
            self.status = FAULTY
        if line is not None:
            self._do(line, numbered=not self.typed)

    def _do(self, line: Line, *, numbered: bool) -> None:
        outcome = perform(self.railway, self.session.moment, line)
        self.session = self.session.after(outcome)
        tell_outcome(self.railway, outcome, numbered=numbered)
        if not outcome.good:
            self.status = max(self.status, FAILED)

    def answers(self, said: str) -> bool:
        """Whether what was said is a word of the prompt; then it is answered."""
        word, _, name = said.partition(" ")
        if word in ("save", "load"):
            path = self._named(word, name.strip())
            if path is not None:
                (self._save if word == "save" else self._load)(path)
            return True
        match said:
            case "possible":
                for line in what_could_be_done(self.railway, self.session.moment):
                    show(Padding.indent(Text(line), 2))
            case "state":
                show(_state_table(self.railway, self.session.moment.state))
            case "undo":
                self._undo()
            case "begin again":
                self.session = self.session.afresh(first_moment(self.railway), said)
                show("  at the start; `undo` brings back what was done")
            case "help":
                show(_help())
            case _:
                return False
        return True

    def _undo(self) -> None:
        back = self.session.taken_back()
        if back is None:
            show("  there is nothing to take back")
            return
        self.session, was = back
        show(Text(f"  taken back: {was}"))

    # --------------------------------------------------------------- files

    def _named(self, word: str, name: str) -> Path | None:
        """The file of a script; None, with the reason told, if that is no name for one."""
        if not name:
            self._refused(f"`{word}` needs the name of a file: `{word} morning{SUFFIX}`")
        elif Path(name).suffix != SUFFIX:
            stem = Path(name).with_suffix("").name or "morning"
            self._refused(f"a script's name ends in {SUFFIX}: `{word} {stem}{SUFFIX}`")
        else:
            return Path(name)
        return None

    def _save(self, path: Path) -> None:
        """Write the script; over no file but one that this session wrote."""
        title = self.railway.layout.title or "layout"
        start = first_moment(self.railway)
        text = saved(self.session, self.railway.simulator, start, title).encode("utf-8")
        where = path.absolute()
        try:
            if where in self.written:
                write_files(path.parent, {path.name: text})
            else:
                write_new_file(path, text)
        except FileExistsError:
            self._refused(f"{path} is there already; save under another name")
        except OSError as error:
            self._refused(f"{path} cannot be written: {error.strerror}")
        else:
            self.written.add(where)
            show(Text(f"  {path} leads to where things are now"))

    def _load(self, path: Path) -> None:
        """Begin again with a script."""
        lines, found, texts = script_of(path, self.c, self.railway)
        if has_errors(found):
            print_diagnostics(found, texts)
            self.status = FAULTY
            return
        self.session = self.session.afresh(first_moment(self.railway), f"load {path}")
        for line in lines:
            self._do(line, numbered=True)

    def _refused(self, why: str) -> None:
        show(Text.assemble("  ", ("refused: ", "bold yellow"), why))
        self.status = FAULTY


def _with_words_of_the_prompt(diagnostic: Diagnostic, word: str) -> Diagnostic:
    """What is wrong with a line, and whether it was meant for a word of the prompt."""
    if (here := _OF_OTHER_PROMPTS.get(word.partition(" ")[0])) is not None:
        return replace(diagnostic, hint=f"here it is called `{here}`: {_HELP[here]}")
    hint = diagnostic.hint or did_you_mean(word, _HELP) or "`help` lists what can be said"
    return replace(diagnostic, hint=hint) if diagnostic.code == "E705" else diagnostic


def _rows(*, typed: bool) -> Iterator[str]:
    """The lines that come in, up to their end."""
    if not typed:
        if isinstance(sys.stdin, io.TextIOWrapper):
            sys.stdin.reconfigure(errors="replace")
        yield from sys.stdin or ()
        return
    try:
        while True:
            yield input("> ")
    except EOFError:
        print()
    except KeyboardInterrupt:
        print()
        raise


def _state_table(railway: Railway, state: State) -> Table:
    """What is not at rest, and where the drives lie."""
    variables = railway.machine.variables
    rows: dict[str, list[str]] = {"trains": [], "routes": [], "signals": [], "drives": []}
    for name, variable in variables.items():
        value = state[name]
        resting = value == variable.values[0]
        match variable.kind:
            case "track" if not resting:
                rows["trains"].append(whereabouts(variable, value))
            case "edge" if not resting:
                rows["trains"].append(fact(variable, value))
            case "route" if not resting:
                held = [v.of for v in variables.values() if v.kind == "held"
                        and state[v.name] == variable.of]  # fmt: skip
                rows["routes"].append(
                    fact(variable, value) + (f"; held for it: {', '.join(held)}" if held else "")
                )
            case "signal" if not resting:
                rows["signals"].append(fact(variable, value))
            case "drive":
                rows["drives"].append(fact(variable, value))
    rest = {"trains": "none", "routes": "none is set", "signals": "all at stop", "drives": "none"}
    table = Table.grid(padding=(0, 2))
    for what, said in rows.items():
        joint = ", " if what == "drives" else "\n"
        table.add_row(f"  {what}", joint.join(said) or rest[what])
    return table


def _help() -> Group:
    parts: list[Any] = []
    for heading, rows in (
        ("acts", [(form.words, form.meaning) for form in ACTS]),
        ("expectations", [(form.words, form.meaning) for form in EXPECTATIONS]),
        ("at the prompt", list(_HELP.items())),
    ):
        parts.append(Text(heading, "bold"))
        parts.append(_listing(rows))
    parts.append(Text("Words in brackets may be left out. What steps say can be typed as well."))
    return Group(*parts)


def _listing(rows: Iterable[tuple[str, str]]) -> Table:
    table = Table.grid(padding=(0, 2))
    for words, meaning in rows:
        table.add_row(Text(f"  {words}"), Text(meaning))
    return table
