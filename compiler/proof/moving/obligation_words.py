"""An obligation as a person reads it: the lowest form of the proof, with its own names.

What the solver is asked has numbers for names, so that places that are alike share a
question. This says what one of them stands for, and the question itself line by line.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from bellcrank.machine.machine_model import Clause, Event, Is, Machine, Variable
from bellcrank.proof.moving.findings import START, Obligation
from bellcrank.proof.moving.shapes import Shape
from bellcrank.running.packed import Encoding, PackedClause

Variables = Mapping[str, Variable]

Moment = Literal["at the start", "in any state"]


@dataclass(frozen=True, slots=True)
class Stated:
    """An obligation by names.

    clause: what has to be true. wrong: what it means that it is false, of an invariant.
    when: the event after which it has to be true; else whether that is at the start, or in
        any state, where it follows from what helps.
    helping: clauses that are true before.
    """

    clause: Clause
    wrong: str
    when: Event | Moment
    helping: tuple[Clause, ...]


def stated(
    obligation: Obligation, machine: Machine, encoding: Encoding, clauses: list[PackedClause]
) -> Stated:
    """An obligation by names instead of numbers. clauses: all, by number."""
    number, event = obligation.clause, obligation.event

    def by_names(number: int) -> Clause:
        packed, lemma = clauses[number], number - len(machine.invariants)
        own: Clause | None = None
        if lemma < 0:
            own = machine.invariants[number].clause
        elif lemma < len(machine.lemmas):
            own = machine.lemmas[lemma]
        # Where no two of its literals are of one variable, it is the same.
        return encoding.named(packed) if own is None or len(own) != len(packed) else own

    moment: Moment = "at the start" if event == START else "in any state"
    return Stated(
        by_names(number),
        machine.invariants[number].sentence if number < len(machine.invariants) else "",
        machine.events[event] if event >= 0 else moment,
        tuple(by_names(helping) for helping in obligation.helping),
    )


def in_words(obligation: Stated, variables: Variables) -> str:
    """An obligation line by line."""
    return "\n".join(_lines(obligation, variables))


def _lines(obligation: Stated, variables: Variables) -> Iterator[str]:
    def told(heading: str, clauses: tuple[Clause, ...], none: str) -> Iterator[str]:
        yield heading if clauses else none
        for clause in clauses:
            yield f"  {clause_in_words(clause, variables)}"

    when = obligation.when
    yield f"after: {when.text}" if isinstance(when, Event) else when
    yield "it must be that"
    yield f"  {clause_in_words(obligation.clause, variables)}"
    if obligation.wrong:
        yield f"  (if not: {obligation.wrong})"
    if isinstance(when, Event):
        yield from told("the event may happen while", when.guard, "the event may always happen")
        yield "it changes"
        for name, becomes in when.updates.items():
            changes = [f"{value} to {new}" for value, new in becomes.items() if value != new]
            yield f"  {name}: {', '.join(changes) or 'nothing'}"
    if when == "at the start":
        yield "as at the start"
        for literal in obligation.clause:
            variable = variables[literal.variable]
            yield f"  {_literal(Is(variable.name, frozenset(variable.initial)), variable)}"
    else:
        heading = "and before it" if isinstance(when, Event) else "as in every reachable state"
        yield from told(heading, obligation.helping, "and that is enough")


def clause_in_words(clause: Clause, variables: Variables) -> str:
    """A clause with its own names."""
    return " or ".join(_literal(literal, variables[literal.variable]) for literal in clause) or (
        "what can never be"
    )


def _literal(literal: Is, variable: Variable) -> str:
    inside = [value for value in variable.values if value in literal.values]
    outside = [value for value in variable.values if value not in literal.values]
    if len(inside) == 1:
        return f"{literal.variable} is {inside[0]}"
    if len(outside) == 1:
        return f"{literal.variable} is not {outside[0]}"
    if len(inside) <= len(outside):
        return f"{literal.variable} is one of {{{', '.join(inside)}}}"
    return f"{literal.variable} is none of {{{', '.join(outside)}}}"


def shape_in_words(shape: Shape) -> str:
    """A question as the solver is asked it: variables a, b, … and their values 1, 2, …"""
    counts, clauses = shape
    lines = ["can all of this be true together?"]
    lines += [f"  {_name(v)} is one of {{{_values(2**n - 1)}}}" for v, n in enumerate(counts)]
    for clause in clauses:
        literals = [f"{_name(v)} in {{{_values(mask)}}}" for v, mask in clause]
        lines.append(f"  {' or '.join(literals) or 'what can never be'}")
    return "\n".join(lines)


def _values(mask: int) -> str:
    return ", ".join(str(place + 1) for place in range(mask.bit_length()) if mask >> place & 1)


def _name(variable: int) -> str:
    """a to z, then a1 to z1, and so on."""
    letter = chr(ord("a") + variable % 26)
    return letter if variable < 26 else f"{letter}{variable // 26}"
