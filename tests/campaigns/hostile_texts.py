"""Texts that nobody meant: made from a corpus by slips, and from the grammar by chance.

The corpus is what the project has itself: the examples, the layouts in its tests, and the
pages of its error codes. Everything is drawn from one `random.Random`, so a seed tells it all.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from random import Random

from lark.grammar import NonTerminal, Rule

from bellcrank.diagnostics.error_pages import pages
from bellcrank.rehearsal.forms import FORMS, MayBe, Name, Word
from bellcrank.syntax.grammar_tables import layout_parser

ROOT = Path(__file__).parents[2]

LONGEST = 4_000
"""Characters of a text of the corpus; longer ones are cut, so that many can be tried."""

NAMES = "A B C H J S1 P P1 K K1 WEST EAST quad box T1 MAIN stop edge 7 é א".split()

HOSTILE = [
    *map(chr, [0, 7, 8, 11, 12, 13, 27, 127, 0x85, 0xA0, 0xAD, 0x200B, 0x2028, 0x202E, 0x2066]),
    *map(chr, [0xFEFF, 0xFFFD, 0xFFFF, 0xD800, 0xDFFF, 0x10FFFF, 0x661, 0x1D7D8, 0xB2]),
    *'" { } # - , . = > < ( [ \\ / ; : % $'.split(),
    *"256 0x10 -1 1e9 99999999999 1.5.5 4x 00 ²".split(),
    "9" * 5_000,
    "a" * 300,
    "{" * 60,
    '"' * 3,
    "\n" * 40,
    " " * 200,
    "-\n" * 20,
    "\ufeff",
    "{{ 7 }}",
    "../../x",
    "e\u0301",
]

Slip = Callable[[Random, list[str]], None]


@cache
def layouts() -> tuple[str, ...]:
    """The texts of layouts that slips are made in."""
    found = [path.read_text("utf-8") for path in sorted(ROOT.glob("examples/*.crank"))]
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        found += re.findall(r'"""\\?\n((?:[^"\\]|"(?!""))*?\brun (?:[^"\\]|"(?!""))*?)"""',
                            path.read_text("utf-8"))  # fmt: skip
    found += [page.get("layout") or page.get("example", "") for page in pages().values()]
    return tuple(dict.fromkeys(text[:LONGEST] for text in found if text))


@cache
def scripts() -> tuple[str, ...]:
    """The texts of scripts that slips are made in."""
    found = [path.read_text("utf-8") for path in sorted(ROOT.glob("examples/*.rehearsal"))]
    found += [page["example"] for page in pages().values() if "layout" in page]
    return tuple(found)


# ----------------------------------------------------------------------- slips


def _pieces(random: Random, text: str) -> list[str]:
    """A text in pieces that can be put together again."""
    match random.randrange(4):
        case 0:
            return text.splitlines(keepends=True)
        case 1:
            return list(text)
        case _:
            return re.findall(r"\w+|\s+|[^\w\s]", text)


def slipped(random: Random, corpus: Sequence[str], most: int = 4) -> str:
    """A text of the corpus with a few slips."""
    text = random.choice(corpus)
    # Half of them have one slip, so that what comes after reading is reached too.
    for _ in range(1 if random.random() < 0.5 else random.randint(1, most)):
        pieces = _pieces(random, text)
        if not pieces:
            break
        one, other = random.randrange(len(pieces)), random.randrange(len(pieces))
        match random.randrange(9):
            case 0:
                del pieces[one]
            case 1:
                pieces.insert(other, pieces[one])
            case 2:
                pieces[one], pieces[other] = pieces[other], pieces[one]
            case 3:
                pieces[one] = pieces[other]
            case 4:
                pieces.insert(one, random.choice(HOSTILE))
            case 5:
                pieces[one] = random.choice(HOSTILE)
            case 6:
                pieces[one] *= random.choice((2, 10, 60))
            case 7:
                pieces[min(one, other) : max(one, other)] = []
            case 8:
                pieces[one:one] = _pieces(random, random.choice(corpus))[:60]
        text = "".join(pieces)[: 3 * LONGEST]
    return text


# ---------------------------------------------------------------- the grammar


@cache
def _rules() -> dict[str, list[Rule]]:
    rules: dict[str, list[Rule]] = {}
    for rule in layout_parser().rules:
        rules.setdefault(str(rule.origin.name), []).append(rule)
    return rules


def _derived(random: Random, symbol: str, depth: int) -> list[str]:
    """Words that a rule of the grammar derives."""
    rules = _rules()[symbol]
    if depth <= 0:
        fewest = min(len(rule.expansion) for rule in rules)
        rules = [rule for rule in rules if len(rule.expansion) == fewest]
    words: list[str] = []
    for part in random.choice(rules).expansion:
        if isinstance(part, NonTerminal):
            words += _derived(random, str(part.name), depth - 1)
        else:
            words.append(_terminal(random, part.name))
    return words


def _terminal(random: Random, name: str) -> str:
    match name:
        case "WORD":
            return random.choice(NAMES if random.random() < 0.97 else HOSTILE)
        case "STRING":
            return f'"{random.choice(NAMES)}"'
        case "DURATION":
            return random.choice(("200 ms", "1.5 s", "5", "9999999 s", "0 ms"))
        case "_DASH":
            return "-"
        case "_COMMA":
            return ","
        case "_NL":
            return "\n"
        case _:
            return str(layout_parser().get_terminal(name).pattern.value).removesuffix(r"\b")


TRACK = """\
points P, P1
run edge WEST - A - >H - P.toe
run P.straight - B - >J - P1.straight
run P.diverging - <S1 - C - P1.diverging
run P1.toe - T1 - edge EAST
decoder kind quad { outputs 4 }
decoder K quad
decoder K1 quad
"""


def derived_layout(random: Random) -> str:
    """Statements of right form, alone or beside some sound track."""
    lines = [" ".join(_derived(random, "statement", 7)) for _ in range(random.randint(1, 8))]
    if random.random() < 0.6:
        lines.insert(random.randrange(len(lines) + 1), TRACK)
    return "\n".join(lines)


def any_layout(random: Random) -> str:
    """The text of a layout, right or wrong."""
    draw = random.random()
    if draw < 0.45:
        return slipped(random, layouts())
    if draw < 0.9:
        return derived_layout(random)
    if draw < 0.97:
        return slipped(random, [derived_layout(random)])
    return any_characters(random)


def any_script(random: Random, names: Mapping[str, Sequence[str]]) -> str:
    """The text of a script, right or wrong.

    names: what could stand for each word in capitals of the forms.
    """
    if random.random() < 0.3:
        return slipped(random, scripts())
    rows = [" ".join(_form(random, names)) for _ in range(random.randint(1, 12))]
    text = "\n".join(rows)
    return text if random.random() < 0.8 else slipped(random, [text])


def _form(random: Random, names: Mapping[str, Sequence[str]]) -> list[str]:
    words = []
    for item in random.choice(FORMS).items:
        match item:
            case Word():
                words.append(item.text)
            case MayBe():
                words += [random.choice(item.words)] if random.random() < 0.5 else []
            case Name():
                slot = item.kind if random.random() < 0.99 else random.choice(sorted(names))
                words.append(random.choice(names[slot]))
    return words


def any_characters(random: Random) -> str:
    """Characters in no order at all."""
    return "".join(
        random.choice(HOSTILE) if random.random() < 0.2 else chr(random.randrange(32, 0x250))
        for _ in range(random.randrange(200))
    )
