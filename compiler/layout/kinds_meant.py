"""Which kind of fitting is meant where none is called so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from bellcrank.diagnostics import Span, did_you_mean, nearest
from bellcrank.layout.layout_model import FittingKind
from bellcrank.layout.other_words import KINDS
from bellcrank.syntax import tree as t
from bellcrank.syntax.parse import LINE_STARTERS


@dataclass(frozen=True, slots=True)
class Meant:
    """What a declaration is taken for.

    kind: None if that cannot be guessed. names: of the fittings.
    sure: whether its drives are known too. called: what was taken for the kind, and last
        the place of its last word. hint: what to write. wrong: what is wrong, where it is not
        that there is no such kind.
    """

    kind: FittingKind | None
    names: tuple[t.Word, ...]
    sure: bool
    called: str
    last: Span
    hint: str
    wrong: str = ""


def meant_by(declaration: t.Declaration, kinds: Mapping[str, FittingKind]) -> Meant:
    """What is meant by a declaration whose kind is not known: a kind without its `with`, names
    without commas between them, a word that is misspelt or used in other places."""
    phrase = declaration.kind
    family = [name for name, kind in kinds.items() if kind.family == phrase.text]
    if family:
        lines = [declaration_of(kind, declaration.names) for kind in family]
        hint = f"say which: `{'` or `'.join(lines)}`"
        return _meant(declaration, kinds[family[0]], len(phrase.words), False, hint)
    without = _without_with(declaration, kinds) or _with_before_names(declaration, kinds)
    if without is not None:
        return without
    guess = _nearest_kind(phrase, kinds)
    if guess is None:
        statement = did_you_mean(phrase.words[0].text, LINE_STARTERS)
        hint = statement or "define it with `fitting … { … }`"
        return _meant(declaration, None, len(phrase.words), False, hint)
    kind, count, exact = guess
    further = phrase.words[count:]
    if further:
        whole = declaration_of(kind.name, (*further, *declaration.names))
        hint = f"write `{whole}`" if not exact else f"put commas between them: `{whole}`"
    else:
        hint = f"did you mean `{kind.name}`?"
    return _meant(declaration, kind, count, True, hint)


def _without_with(declaration: t.Declaration, kinds: Mapping[str, FittingKind]) -> Meant | None:
    """What is meant where `with` alone is left out: `double slip S1 one drive`."""
    words = (*declaration.kind.words, *declaration.names)
    text = _text(words)
    for kind in kinds.values():
        family, _, tail = kind.name.partition(" with ")
        if not tail or not text.startswith(f"{family} ") or not text.endswith(f" {tail}"):
            continue
        names = words[family.count(" ") + 1 : -tail.count(" ") - 1]
        kept = [word for word in names if nearest(word.text, ["with"]) is None]
        if kept:
            hint = f"write `{declaration_of(kind.name, kept)}`"
            return Meant(kind, tuple(kept), True, text, words[-1].span, hint)
    return None


def _with_before_names(
    declaration: t.Declaration, kinds: Mapping[str, FittingKind]
) -> Meant | None:
    """What is meant where the names stand last of all: `double slip with one drive S1`."""
    words, after = (*declaration.kind.words, *declaration.names), declaration.kind.with_words
    for kind in kinds.values():
        family, _, tail = kind.name.partition(" with ")
        count = tail.count(" ") + 1
        if tail and _text(words) == family and _text(after[:count]) == tail and after[count:]:
            names = after[count:]
            hint = f"write `{declaration_of(kind.name, names)}`"
            wrong = "the names stand behind what follows `with`"
            return Meant(kind, names, True, kind.name, after[count - 1].span, hint, wrong)
    return None


def declaration_of(kind: str, names: Sequence[t.Word]) -> str:
    """A declaration of fittings of a kind."""
    head, _, tail = kind.partition(" with ")
    named = ", ".join(word.text for word in names)
    return f"{head} {named} with {tail}" if tail else f"{head} {named}"


def _meant(
    declaration: t.Declaration, kind: FittingKind | None, count: int, sure: bool, hint: str
) -> Meant:
    """count: the words of the kind, of which those that follow are names."""
    phrase = declaration.kind
    names = (*phrase.words[count:], *declaration.names)
    whole = count == len(phrase.words)
    called = phrase.text if whole else _text(phrase.words[:count])
    last = (phrase.with_words or phrase.words)[-1] if whole and not phrase.with_words else None
    end = last.span if last is not None else phrase.words[count - 1].span
    return Meant(kind, names, sure, called, end, hint)


def _nearest_kind(
    phrase: t.KindPhrase, kinds: Mapping[str, FittingKind]
) -> tuple[FittingKind, int, bool] | None:
    """The kind that the first words of a phrase are most like, how many words these are, and
    whether they are that kind; what follows are names."""
    best: tuple[float, FittingKind, int] | None = None
    for count in range(1, len(phrase.words) + 1):
        called = _text(phrase.words[:count])
        if phrase.with_words:
            called += f" with {_text(phrase.with_words)}"
        known = KINDS.get(called.casefold()) or nearest(called, kinds)
        if known is None:
            continue
        alike = 1.0 if called.casefold() in KINDS else _likeness(called, known)
        if best is None or alike > best[0]:
            best = (alike, kinds[known], count)
    if best is None:
        return None
    alike, kind, count = best
    return kind, count, alike == 1.0


def _likeness(one: str, other: str) -> float:
    return SequenceMatcher(None, one, other).ratio()


def _text(words: Sequence[t.Word]) -> str:
    return " ".join(word.text for word in words)
