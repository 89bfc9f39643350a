"""Decoders and detectors and the numbers they answer to: no two may share one, switches must
be able to set it, and those that state none are given one.

Outputs and inputs are numbered apart, so a decoder and a detector may have the same number.
"""

from __future__ import annotations

from bisect import bisect
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from typing import Any, Generic, Literal, TypeVar

from bellcrank.diagnostics import Collector, Noun, Span, nearest
from bellcrank.hardware.assignment import Wanted, assign, bits
from bellcrank.layout.addressed import Addressed, AddressedKind
from bellcrank.layout.declared_names import Names
from bellcrank.layout.quantities import number
from bellcrank.syntax import tree as t

K = TypeVar("K", bound=AddressedKind)
U = TypeVar("U", bound=Addressed[Any])

NOWHERE = 0
"""The address of what has none yet, or a wrong one."""


@dataclass(frozen=True, slots=True)
class Sort(Generic[K, U]):
    """Decoders, or detectors.

    channel: what of it has a number. highest: the highest such number.
    make: makes one of its name, kind, address, place, and whether that was chosen.
    """

    noun: Noun
    kind: Noun
    channel: Literal["output", "input"]
    highest: int
    make: Callable[[str, K, int, Span, bool], U]


def enter(
    lines: Iterable[t.DecoderLine] | Iterable[t.DetectorLine],
    kinds: Mapping[str, K | None],
    sort: Sort[K, U],
    names: Names,
) -> dict[str, U]:
    """All of one sort by name, with no two sharing an address that is stated for them.

    Those without one have none until `choose_addresses`.
    """
    made: dict[str, U] = {}
    owners: dict[int, U] = {}
    clashing: list[tuple[U, U, int]] = []
    unset: list[tuple[t.Word, K, int, str]] = []
    for line in lines:
        sound = names.claim(line.name, sort.noun)
        kind = kinds.get(line.kind.text)
        if line.kind.text not in kinds:
            names.unknown(line.kind, sort.kind, kinds)
            # Taken for the kind that is most likely meant, so that what is wired to it is seen.
            kind = kinds.get(nearest(line.kind.text, kinds) or "")
        if not sound or kind is None:
            continue
        name = line.name.text
        if line.address is None:
            made[name] = sort.make(name, kind, NOWHERE, line.span, True)
            continue
        address = number(line.address, "an address", 0, 99_999, names.found)
        wrong = address is None or not _in_range(line.address, kind, address, names.found)
        if address is not None and not wrong and not kind.can_show(address):
            unset.append((line.address, kind, address, _why_not(kind, address, sort)))
            wrong = True
        if address is None or wrong:
            # It exists, so that its outputs are not reported as well.
            made[name] = sort.make(name, kind, NOWHERE, line.span, False)
            continue
        one = sort.make(name, kind, address, line.address.span, False)
        made[name] = one
        clashes = [
            (owners[number], number)
            for number in one.numbers
            if owners.setdefault(number, one) is not one
        ]
        clashing += [(one, other, number) for other, number in clashes[:1]]
    taken = Counter(n for one in made.values() if one.address for n in one.numbers)
    for word, its, address, message in unset:
        free = _free(its, address, taken)
        names.found.report(
            "E605",
            message,
            word.span,
            expected=_nearest(address, its.addresses()),
            hint=None if free is None else f"{free} can be set, and is free",
        )
    for one, other, clash in clashing:
        names.found.report(
            "E603",
            f"{one.name} and {other.name} both answer to address {clash}",
            one.span,
            expected=f"an address of its own for each {sort.channel}",
            hint=_free_address(one, taken),
            related=[(other.span, f"{other.name} begins at {other.address}")],
        )
    return made


def _in_range(word: t.Word, kind: AddressedKind, address: int, found: Collector) -> bool:
    """Whether packets of its kind can name an address; that they cannot is reported."""
    last = address + kind.size - 1
    if address < kind.low or last > kind.high:
        bad = address if address < kind.low or address > kind.high else last
        found.report(
            "E604",
            f"address {bad} is outside the range of {kind.name}",
            word.span,
            expected=f"an address from {kind.low} to {kind.high - kind.size + 1}",
        )
        return False
    return True


def _why_not(kind: AddressedKind, address: int, sort: Sort[K, U]) -> str:
    """Why the switches or variables of a kind cannot be set to an address."""
    value = kind.value_for(address)
    if value is None:
        of = "groups" if kind.counts == "groups" else f"whole {sort.noun.noun}s"
        who = f"the switches of {kind.name}" if kind.switches else f"the variables of {kind.name}"
        message = f"{who} cannot set {address}: they count {of} of {kind.step} {sort.channel}s"
    elif not kind.switches:
        message = (
            f"the variables of {kind.name} cannot set {address}: they would have to hold {value}, "
            f"and hold 0 to {kind.most}"
        )
    elif kind.rotary:
        message = (
            f"{kind.switches} rotary switch{'es' if kind.switches > 1 else ''} of {kind.name} "
            f"cannot set {address}, which would be shown as "
            + (f"{value:X} in hexadecimal" if kind.rotary == 16 else str(value))
        )
    elif kind.weights:
        counted = [w for k, w in enumerate(kind.weights, 1) if k not in kind.fixed]
        message = (
            f"the switches of {kind.name} cannot set {address}: no choice of "
            f"{', '.join(map(str, counted))} adds up to {value}"
        )
    else:
        message = f"{kind.switches} switches cannot set {address}"
    return message


def _nearest(address: int, possible: Sequence[int]) -> str | None:
    """The possible addresses on both sides of one that is not."""
    at = bisect(possible, address)
    below, above = possible[:at][-1:], possible[at:][:1]
    if below and above:
        return f"{below[0]} or {above[0]}"
    if below:
        return f"at most {below[0]}"
    return f"at least {above[0]}" if above else None


def _free_address(one: Addressed[Any], taken: Counter[int]) -> str | None:
    """An address at which one meets no other, the nearest above its own first.

    taken: how many answer to each number, this one among them.
    """
    own = one.numbers
    possible = one.kind.addresses()
    for address in sorted(possible, key=lambda base: (base < one.address, base)):
        if all(
            taken[number] == (number in own) for number in range(address, address + one.kind.size)
        ):
            return f"{address} is free"
    return None


def _free(kind: AddressedKind, wanted: int, taken: Mapping[int, int]) -> int | None:
    """The address next to a wanted one that can be set and that nothing answers to."""
    return min(
        (
            address
            for address in kind.addresses()
            if not any(taken.get(number) for number in range(address, address + kind.size))
        ),
        key=lambda address: (abs(address - wanted), address),
        default=None,
    )


def choose_addresses(made: dict[str, U], sort: Sort[K, U], found: Collector) -> None:
    """Choose an address for each that states none, in their order.

    They are the lowest that the stated ones leave free; those whose kind has no room
    left are reported.
    """
    stated = [one for one in made.values() if one.address]
    wanting = [one for one in made.values() if one.assigned]
    if not wanting:
        return
    possible = {one.kind.name: bits(one.kind.addresses()) for one in wanting}
    taken = {number for one in stated for number in one.numbers}
    addresses = assign(
        [Wanted(one.kind.size, possible[one.kind.name]) for one in wanting], taken, sort.highest
    )
    lost: dict[str, list[U]] = {}
    for one, address in zip(wanting, addresses, strict=True):
        if address is None:
            lost.setdefault(one.kind.name, []).append(one)
        else:
            placed = replace(one, address=address)
            made[one.name] = placed
            taken.update(placed.numbers)
    for some in lost.values():
        _report_no_room(some, taken, sort, found)


def _report_no_room(some: Sequence[U], taken: Set[int], sort: Sort[K, U], found: Collector) -> None:
    """Report those of one kind for which no address is left."""
    first, kind = some[0], some[0].kind
    addresses = kind.addresses()
    left = sum(number not in taken for number in range(kind.low, kind.high + 1))
    more = f" and for {len(some) - 1} more of its kind" if some[1:] else ""
    found.report(
        "E613",
        f"there is no room for {first.name}, of the kind {kind.name}{more}: "
        f"of {len(addresses)} addresses that it could have none is left; "
        f"{left} of the numbers {kind.low} to {kind.high} are free",
        first.span,
        expected=f"an address with {kind.size} free numbers in a row, to which it can be set"
        if kind.size > 1
        else "a free number to which it can be set",
        hint=f"state other addresses for {sort.noun.noun}s that can have higher ones",
    )
