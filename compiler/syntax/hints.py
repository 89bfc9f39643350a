"""What a person most likely meant by words that do not belong where they stand."""

from __future__ import annotations

import re

from bellcrank.diagnostics import Instead, nearest

_CURLY_QUOTES = "“”„‘’«»"


def hint_for(
    word: str, row: str, expected: set[str], keywords: set[str], leaders: frozenset[str]
) -> str | None:
    """One suggestion, or None where none would be right.

    word: the sign or word that does not belong; "" where the line ends too early.
    row: the source line. expected: the terminals that could stand there.
    keywords: those of them that are words of the language.
    leaders: the words that lead statements.
    """
    before, _, after = row.partition(word) if word else (row, "", "")
    in_braces = "{" in before
    if {"_NL", "$END"} & expected and word in leaders and before.strip() and not in_braces:
        rest = f"{word}{after}".split("#")[0].strip()
        return f"one statement a line: begin a new one with `{rest}`"
    for hints in (_of_panel, _of_runs, _of_signs, _of_order, _of_lines, _of_hardware, _of_words):
        hint = hints(word, row, expected, keywords)
        if hint is not None:
            return hint
    return None


def _of_panel(word: str, row: str, expected: set[str], keywords: set[str]) -> str | None:
    """Of lines about detectors and the panel."""
    leader = row.split()[:1]
    if leader == ["button"]:
        cancelled = re.match(r"\s*button\s+(?:cancel\s+(\w[^=]*?)|(\w[^=]*?)\s+cancel)\s*=", row)
        return f"write `button to cancel {cancelled[1] or cancelled[2]} = …`" if cancelled else None
    if leader == ["report"] and (
        named := re.search(r'=\s*([^"\s=#][^\s#]*)(?:\s+opens)?\s*(?:#.*)?$', row)
    ):
        name = named[1]
        if not re.fullmatch(r"\w+(\.\w+)?", name):
            return f'put it in double quotes: "{name}"'
    lit = re.search(r"=\s*(\w+(?:\.\w+)?)\s*$", row)
    if leader == ["lamp"] and lit and "WORD" in expected:
        return f"say which side of it lights the lamp, such as `{lit[1]} green`"
    return None


def _of_runs(word: str, row: str, expected: set[str], keywords: set[str]) -> str | None:
    """Of lines that lay track, with `run` or with another word in its place."""
    if dashed := re.match(r"\s*(\w+)-(\w+)\s+\w", row):
        return f"the names of kinds have no dash: write `{dashed[1]} {dashed[2]}`"
    if word == "." and (leg := re.match(r"\s*(\w+\.\w+)\s*[-–—]", row)):
        return f"track is laid by `run`: write `run {leg[1]} - …`"
    other = re.match(r"\s*(\w+)\s+((?:edge\s+)?\w+(?:\.\w+)?)\s*[-–—]", row)
    if other and other[1] != "run" and word in ("-", ".") and "_COMMA" in expected:
        return f"track is laid by `run`: write `run {other[2]} - …`"
    if row.split()[:1] != ["run"]:
        return None
    if word in (":", "/") and (leg := re.search(r"(\w+)[:/](\w+)", row)):
        return f"a point stands between a fitting and its leg: `{leg[1]}.{leg[2]}`"
    if word in ("", "-") and re.search(r"\bedge\s*(?:-|$)", row.split("#")[0]):
        return "an edge has a name: `edge WEST`"
    if word == "-" and re.search(r"-\s*-", row):
        return "one `-` joins two pieces"
    if word == "-" and (sign := re.search(r"([<>])\s*-", row)):
        return f"the sign stands before the name of its signal: `{sign[1]}H1`"
    if word == "stop" and re.search(r"\bbuffer\s+stop\b", row):
        return "write `stop` alone"
    if word and word[0].isalnum() and "_DASH" in expected and "DOT" not in expected:
        return f"put a `-` before `{word}`"
    return None


def _of_signs(word: str, row: str, expected: set[str], keywords: set[str]) -> str | None:
    if word == '"':
        return 'close the text with a second " on the same line'
    if word == "{" and not row.split("{")[0].strip():
        return "put the `{` at the end of the line before, behind what it belongs to"
    if word and word in _CURLY_QUOTES:
        curly = re.search(f"[{_CURLY_QUOTES}]([^{_CURLY_QUOTES}]*)[{_CURLY_QUOTES}]", row)
        return f'use straight double quotes: "{curly[1] if curly else "…"}"'
    if word == "'" and expected == {"STRING"}:
        title = re.search(r"'([^']*)'", row)
        return f'use straight double quotes: "{title[1] if title else "…"}"'
    if word == ":" and expected == {"EQUAL"}:
        return Instead(":", " =", "write `=` in place of the `:`")
    if word == ":":
        return "leave the `:` out"
    if word in (",", "=") and "{" in row and not _SIGNS & expected:
        return f"leave the `{word}` out"
    if word == "/":
        return "a comment begins with `#`"
    if word == "\u00a0":
        return "here stands a no-break space; write a plain blank"
    if word == ";":
        return "leave the `;` out: the end of the line ends a statement"
    if word in ("<", ">"):
        named = re.search(rf"(?:\.\w+\s*|\w\s+)({word}\w+)", row)
        if named and "_DASH" in expected:
            return f"put a `-` before `{named[1]}`"
        between = re.search(rf"(\w+)\s*{word}\s*\w", row)
        if between and "_DASH" in expected:
            name = between[1]
            return f"`-` joins two pieces; if {name} is a signal, write `- {word}{name} -`"
        if re.search(rf"{word}\s*\w", row):
            return f"put a `-` before `{word}`, and the sign before its signal: `- {word}H1`"
        return f"the sign stands before its signal: `{word}H1`"
    return None


def _of_order(word: str, row: str, expected: set[str], keywords: set[str]) -> str | None:
    """Of lines that have the right words in another order, or too many things in one."""
    wired = re.match(r"\s*(servo|motor|coil)\s+(\w+)\s*=\s*(\w+(?:\.\w+)?)", row)
    if wired and word == "=":
        what, name, output = wired.groups()
        return f"write `drive {name} = {output}  {what} {_TIMES[what]}`, with its own time"
    shunt = re.match(r"\s*shunt\s+signal\s+(\w+)(.*?)\s*(?:#.*)?$", row)
    if shunt and word == "=":
        return f"write `signal {shunt[1]} shunt{shunt[2]}`"
    behind = re.match(r"\s*signal\s+(\w+)\s*=\s*(\S+)\s+(shunt|shows\s[^#]*?)\s*(?:#.*)?$", row)
    if behind and behind[3].split()[0] == word:
        return f"it comes before the `=`: write `signal {behind[1]} {behind[3]} = {behind[2]}`"
    several = re.match(r"\s*signal\s+(\w+)\s*,", row)
    if several and word in ("shunt", "shows", "="):
        rest = row[row.index(word) :].split("#")[0].strip() if word != "=" else "= …"
        return f"one signal a line: `signal {several[1]} {rest}`"
    if row.split()[:1] == ["section"] and "_COMMA" in expected and word and word[0].isalnum():
        return f"put a comma before `{word}`"
    if row.split()[:1] == ["expect"] and expected == {"WITH"} and word and word[0].isalnum():
        return f"put `with` before `{word}`"
    rails = re.search(r"\b(two|three)[- ]rails?\b", row)
    if row.split()[:1] == ["layout"] and "ON" in expected and rails and word == rails[1]:
        return f"write `on {rails[1]} rails`"
    turned = re.match(r"\s*(written|derived?)\s+locking\b", row)
    if turned and word == "{":
        return f"write `locking {turned[1].removesuffix('d')} {{`"
    plural = re.match(r"\s*(decoder|detector)\s+kinds\s+(\w+)\s*\{", row)
    if plural and word == "{":
        return f"write `{plural[1]} kind {plural[2]} {{`: a block describes one"
    if re.match(r"\s*locking\s*\{", row) and word == "{":
        return (
            "write `locking written {` if these are all the rules there are, or `locking derive {`"
        )
    return None


_TIMES = {"servo": "1500 ms", "motor": "3 s", "coil": "200 ms"}
"""What each takes, as an example."""


def names_after_with(row: str) -> str | None:
    """A declaration whose names stand last of all, as it should be: `double slip with two drives
    X1, X2`."""
    last = re.match(
        r"\s*(\w+(?: +\w+)*?) +with +(\w+(?: +\w+)*?) +(\w+(?: *, *\w+)+)\s*(?:#|$)", row
    )
    return f"{last[1]} {re.sub(' *, *', ', ', last[3])} with {last[2]}" if last else None


def _of_lines(word: str, row: str, expected: set[str], keywords: set[str]) -> str | None:
    if word == "," and (meant := names_after_with(row)):
        return f"the names come before `with`: write `{meant}`"
    decimal = re.search(r"\b([0-9]+),([0-9]+)", row)
    if word == "," and decimal:
        return f"write `{decimal[1]}.{decimal[2]}`, with a point"
    if word == "-" and "TO" in expected and (arrow := re.search(r"(\w+)\s*->\s*(\w+)", row)):
        return f"a route is named by where it leads: `{arrow[1]} to {arrow[2]}`"
    if expected == {"EQUAL"} and word and word[0].isalnum():
        return f"put a `=` before `{word}`"
    if expected == {"OF"} and word and word[0].isalnum():
        return f"put `of` before `{word}`"
    if word.startswith('"') and re.match(r"\s*(?:include|import)\s", row):
        return f"here it is called `use`: `use {word}`"
    titled = re.match(r'\s*layout\s+(\w[^"]*?)\s+("[^"]*")', row)
    if expected == {"STRING"} and titled:
        return f"the title comes first: `layout {titled[2]} {titled[1]}`"
    kindless = re.match(r"\s*(decoder|detector)\s+(\w+)\s+at\s+(\w+)", row)
    if kindless:
        what, name, address = kindless.groups()
        return f"say of which kind it is: `{what} {name} KIND at {address}`"
    if expected == {"STRING"} and word and word[0].isalnum():
        title = re.match(r"\s*layout\s+(.*?)(?:\s+(?:on|without)\s.*)?\s*(?:#.*)?$", row)
        return f'put it in double quotes: "{title[1] if title else word}"'
    lamp = r"\w+(?:\.\w+)?\s+(?:green|red)(?:\s+blinking)?"
    commas = re.search(rf"\b(?:at|and)\s+({lamp})\s*,\s*(\w+\.\w+\s+(?:green|red))\b", row)
    if word == "." and commas and row.split()[:1] == ["signal"]:
        return f"lamps of one aspect are joined by `and`: `{commas[1]} and {commas[2]}`"
    at = re.search(r"\b(at|and)\s+(\w+(?:\.\w+)?)\s*(?:,|=|and\b|$)", row)
    if "WORD" in expected and at and row.split()[:1] == ["signal"]:
        if at[2].isdigit():
            return f"the value that shows an aspect is written `as {at[2]}`"
        return f"say which side of it shows the aspect, such as `{at[1]} {at[2]} green`"
    return None


def _of_hardware(word: str, row: str, expected: set[str], keywords: set[str]) -> str | None:
    """Of lines that say what is wired to what."""
    if (here := _CALLED.get(word)) is not None and here in keywords:
        return f"here it is called `{here}`"
    if word == "never" and "locks" in keywords:
        return "write `locks` in place of `never with`"
    if "_COMMA" in expected and re.search(r"\blocks\b", row) and word and word[0].isalnum():
        place = "in place of" if word == "and" else "before"
        return f"put a comma {place} `{word}`"
    before = re.search(r"\b(\d[\d.]*\s*m?s)\s+(coil|motor|servo)\b", row)
    if before and before[1].startswith(word) and row.split()[:1] in (["drive"], ["output"]):
        return f"write `{before[2]} {before[1]}`"
    if re.match(r"\s*supply\s.*\bfeeds\s+the\s+rest\b", row):
        return "name its decoders, or a kind for all of that; `the rest` is what a district feeds"
    wired = re.match(r"\s*(drive|signal|output)\s+(\w+(?:\.\w+)?)\s+(\w+\.\w+)", row)
    if wired and "=" not in row and word == ".":
        return f"write `{wired[1]} {wired[2]} = {wired[3]}`"
    dashed = re.match(r"\s*(?:drive|signal|output|report)\s.*=\s*(\w+)[-–:/](\w+)", row)
    if dashed and word in ("-", "–", ":", "/"):
        return f"a point stands between decoder and output: `{dashed[1]}.{dashed[2]}`"
    if word == "stall" and re.match(r"\s*drive\s.*=.*\bstall\s+motor\b", row):
        return "a stall motor is written with its time: `motor 3 s  held on`"
    if row.split()[:1] == ["signal"] and word in ("green", "red"):
        return f"leave `{word}` out: the output shows stop on its red side, proceed on its green"
    if word == "," and re.match(r"\s*drive\s+\w+\s*,\s*\w+\s*=", row):
        names = row.split("=")[0].split("drive", 1)[1].strip()
        return f"one drive a line; if one output throws both, add a line `coupled {names}`"
    gives = re.search(r"\bgives\s+(\d[\d.]*\s*m?[AV])\s+(\d[\d.]*\s*m?[AV])", row)
    if gives:
        return f"put a comma between the two: `gives {gives[1]}, {gives[2]}`"
    feeds = re.search(r"\bfeeds\s+((?:\w+,\s*)*\w+)\s+(?!one\b)(\w+)\s+(?!at\b)", row)
    if feeds and row.split()[:1] == ["supply"] and expected == {"AT"}:
        return f"put commas between the names: `feeds {feeds[1]}, {feeds[2]}`"
    if expected == {"LBRACE"} and word:
        rest = row[row.index(word) :].split("#")[0].strip(" {}")
        return f"what it has stands in braces: `{{ {rest} }}`"
    if expected == {"LBRACE"} and not word:
        return "put the `{` on this line, behind what it belongs to"
    return None


_CALLED = {
    "dip": "switches",
    "dips": "switches",
    "swapped": "crossed",
    "reversed": "crossed",
    "inverted": "crossed",
    "solenoid": "coil",
    "pulse": "coil",
    "feedback": "detected",
    "reports": "detected",
    "address": "at",
    "and": "with",
    "not": "never",
    "excludes": "locks",
    "bars": "locks",
    "blocks": "locks",
    "requires": "needs",
}
"""Words that people try, and the word that stands there in this language."""

_SIGNS = {"_COMMA", "EQUAL"}


def _of_words(word: str, row: str, expected: set[str], keywords: set[str]) -> str | None:
    if not word or not word[0].isalnum():
        return None
    near = nearest(word, keywords)
    if near is not None and near != word:
        return Instead(word, near)
    if "WORD" in expected:
        return f"`{word}` is a word of the language; choose another name"
    if row.split()[:1] == ["run"] and {"_DASH", "DOT"} <= expected:
        blank = re.search(rf"(\w+)[ \t]+{re.escape(word)}\b", row)
        name = f": write `{blank[1]}_{word}`" if blank else ""
        return f"names have no blanks{name}; a leg is written `P1.toe`, and `-` joins two pieces"
    return None
