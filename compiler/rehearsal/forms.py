"""The lines that a rehearsal's script may hold, as a table.

This is the whole grammar: a form is the words of a line in their order. Words in
small letters stand as they are, those in brackets may be left out, and a word in
capitals stands for a name of that kind.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import takewhile
from typing import NamedTuple

from bellcrank.diagnostics import Noun


class Word(NamedTuple):
    """A word that stands as it is."""

    text: str


class MayBe(NamedTuple):
    """Words of which one may stand there, or none."""

    words: tuple[str, ...]


class Name(NamedTuple):
    """A name of some kind."""

    kind: str


Item = Word | MayBe | Name


class Wanted(NamedTuple):
    """What could stand somewhere: words as they are, or what these words describe."""

    words: tuple[str, ...]
    literal: bool

    def __str__(self) -> str:
        text = " ".join(self.words)
        return f"`{text}`" if self.literal else text


def as_written(*words: str) -> Wanted:
    """These words and no others."""
    return Wanted(words, literal=True)


def described(what: object) -> Wanted:
    """Whatever is so described."""
    return Wanted((str(what),), literal=False)


@dataclass(frozen=True)
class Form:
    """One kind of line.

    key: what `acts.py` knows it by.
    meaning: what it does, for the list that `help` shows.
    """

    key: str
    words: str
    meaning: str

    @cached_property
    def items(self) -> tuple[Item, ...]:
        return tuple(_item(word) for word in self.words.split())


def _item(word: str) -> Item:
    """A word of this table, read as its head says."""
    if word[0] == "[":
        return MayBe(tuple(word.strip("[]").split("|")))
    return Name(word) if word in PHRASES else Word(word)


ACTS = (
    Form("at first", "at first DRIVE lies POSITION", "where a drive lies before all begins"),
    Form("request", "request ROUTE", "the operator asks for a route"),
    Form("cancel", "cancel ROUTE", "the operator cancels a route"),
    Form("comes in", "[a|the] train comes in from EDGE", "a train comes in, up to the track there"),
    Form("stands", "[a|the] train stands before SIGNAL", "a train is put on the track there"),
    Form("vehicles stand", "vehicles stand in PLACE", "vehicles or a train stand there"),
    Form("taken off", "vehicles in PLACE are taken off", "what stands there is lifted off"),
    Form("uncoupled", "vehicles in PLACE are uncoupled", "they stay behind when the train goes on"),
    Form("ready", "vehicles before SIGNAL are ready", "an engine is coupled to them, to leave"),
    Form("passes", "[a|the] train passes SIGNAL", "the train before a signal passes it"),
    Form("moves", "[a|the] train in PLACE moves", "a train goes on to the next stretch of track"),
    Form("turns back", "[a|the] train in PLACE turns back", "a train will leave as it came"),
    Form("front passes", "[the] front of [a|the] train passes SIGNAL", "its tail stays"),
    Form("front moves", "[the] front of [a|the] train in PLACE moves", "its tail stays"),
    Form("tail leaves", "[the] tail of [a|the] train in PLACE follows", "its tail leaves PLACE"),
    Form("tail comes in", "[the] tail of [a|the] train from EDGE follows", "its tail comes in"),
    Form("long", "trains are long", "from here on, tails follow only when told to"),
    Form("short", "trains are short", "from here on, tails follow of themselves"),
    Form("wait", "wait", "interlocking, drives and signals do what is left to do"),
    Form("time", "time passes", "the same, and time-outs run out"),
    Form("go on", "go on", "the same, and trains under way go on, until all is quiet"),
    Form("event", "event EVENT", "one event, by the name it has in the machine"),
)
"""What is done. One more form is the sentence of any one event, as the steps show it."""

EXPECTATIONS = (
    Form("refused", "expect ROUTE refused", "it would be refused now"),
    Form("because", "expect ROUTE refused because of CAUSE", "the reasons speak of CAUSE"),
    Form("allowed", "expect ROUTE allowed", "it could be set now"),
    Form("kept", "expect cancel ROUTE refused", "it cannot be cancelled now"),
    Form("idle", "expect ROUTE idle", "it is not set"),
    Form("set", "expect ROUTE set", "it is set, and no train has come on it"),
    Form("under way", "expect ROUTE under way", "its train is on it"),
    Form("overlap kept", "expect ROUTE kept for its overlap", "its train has gone on"),
    Form("closing", "expect ROUTE being cancelled", "the time of approach locking runs"),
    Form("at stop", "expect SIGNAL at stop", "it shows stop"),
    Form("off", "expect SIGNAL off", "it shows anything but stop"),
    Form("off for", "expect SIGNAL off for ROUTE", "it is off for this route"),
    Form("shows", "expect SIGNAL shows ASPECT", "it shows this aspect"),
    Form("lies", "expect DRIVE lies POSITION", "it lies so and is still"),
    Form("moving", "expect DRIVE moving", "it is being thrown"),
    Form("occupied", "expect PLACE occupied", "a train or part of one is in it"),
    Form("clear", "expect PLACE clear", "nothing is in it"),
    Form("held", "expect SECTION held for ROUTE", "it is held for this route"),
    Form("not held", "expect SECTION not held", "it is held for no route"),
    Form("train in", "expect [a|the] train in PLACE", "the front of a train is in it"),
    Form("train before", "expect [a|the] train in PLACE before SIGNAL", "and comes to it next"),
    Form("vehicles in", "expect vehicles stand in PLACE", "vehicles are left standing there"),
    Form("stands still", "expect [the] train in PLACE at a stand", "it cannot go on now"),
    Form("rest", "expect all at rest", "no route is set, no signal off, no drive moving"),
)
"""What is looked at. None of these changes anything."""

FORMS = ACTS + EXPECTATIONS

_OF_A_TRAIN = (
    Form("came to", "[the] train from START in PLACE", "the train that is in START at first"),
    Form("came before", "[the] train from START in PLACE before SIGNAL", "and comes to it next"),
)

GOALS = (
    *(Form(form.key, form.words.removeprefix("expect "), form.meaning) for form in EXPECTATIONS),
    *_OF_A_TRAIN,
)
"""What can be wished for: whatever can be expected, and where a train that is somewhere at first
is to be."""

PHRASES = {
    "ROUTE": Noun("a", "route"),
    "SIGNAL": Noun("a", "signal"),
    "EDGE": Noun("an", "edge"),
    "DRIVE": Noun("a", "drive"),
    "POSITION": Noun("a", "position of the drive"),
    "ASPECT": Noun("an", "aspect of the signal"),
    "PLACE": Noun("a", "section or a piece of track"),
    "START": Noun("a", "section or a piece of track with a train in it"),
    "SECTION": Noun("a", "section"),
    "CAUSE": Noun("a", "route, a drive or a section"),
    "EVENT": Noun("the", "name of an event"),
}
"""What each word in capitals stands for."""

Bound = dict[str, tuple[int, int]]
"""For each name of a form the words it stands for: the first, and the one behind the last."""

Ends = Callable[[str, int, Bound], Iterable[int | tuple[int, Wanted]]]
"""Where a name of some kind that begins with a word may end, its longest reading first.
With a place comes what would have to stand there for the name to go on."""


@dataclass(slots=True)
class Matching:
    """A line held against the forms.

    ends: how far names reach. wanted: for each place that was reached and where the
    line would have had to go on otherwise, what could stand there.
    """

    words: Sequence[str]
    ends: Ends
    wanted: dict[int, dict[Wanted, None]] = field(default_factory=dict)

    def match(self, form: Form) -> Bound | None:
        """The names in the line if it has this form, or None."""
        return self._go_on(form.items, 0, {})

    @property
    def reached(self) -> int:
        """How many words make sense."""
        return max(self.wanted, default=0)

    def _go_on(self, items: Sequence[Item], at: int, bound: Bound) -> Bound | None:
        if not items:
            if at == len(self.words):
                return bound
            self._want(at, described("the end of the line"))
            return None
        item, rest = items[0], items[1:]
        word = self.words[at] if at < len(self.words) else None
        if isinstance(item, MayBe):
            with_it = None
            if word in item.words:
                with_it = self._go_on(rest, at + 1, bound)
            return with_it or self._go_on(rest, at, bound)
        if isinstance(item, Word):
            if word == item.text:
                return self._go_on(rest, at + 1, bound)
            plain = takewhile(lambda i: isinstance(i, Word), items)
            self._want(at, as_written(*(i.text for i in plain if isinstance(i, Word))))
            return None
        ends = tuple(self.ends(item.kind, at, bound)) if word is not None else ()
        if not ends:
            self._want(at, described(PHRASES[item.kind]))
        for end in ends:
            if isinstance(end, tuple):
                self._want(*end)
                continue
            found = self._go_on(rest, end, {**bound, item.kind: (at, end)})
            if found is not None:
                return found
        return None

    def _want(self, at: int, what: Wanted) -> None:
        self.wanted.setdefault(at, {})[what] = None
