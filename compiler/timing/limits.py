"""What drives and supplies can stand, read from the layout.

A supply that rests and of which it is not said how many it throws at a time throws one at
a time: a rest after each throw would mean nothing if all could be thrown at once. That is
the careful reading; common practice for supplies that recharge.
"""

from __future__ import annotations

from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout, Supply
from bellcrank.machine.commands import Command
from bellcrank.timing.schedule import Limit, Throw


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits of a layout.

    supply_of: the supply that feeds each decoder.
    by_supply: what each supply can do, of those that have a limit.
    rests: milliseconds for which a drive must be left alone after its throw.
    settles: milliseconds from its command until a drive is taken to lie, if stated.
    motors: of drives that throw several motors at once, how many.
    """

    supply_of: dict[str, str]
    by_supply: dict[str, Limit]
    rests: dict[str, int]
    settles: dict[str, int]
    motors: dict[str, int]

    def throw(self, command: Command, after: tuple[str, ...] = ()) -> Throw:
        """The throw that a command to a drive brings about, over an output."""
        busy = command.milliseconds or 0
        # A relay of a frog takes nothing from what a supply keeps for throws.
        fed = command.decoder if command.device != "frog" else None
        supply = self.supply_of.get(fed) if fed else None
        lies = max(busy, self.settles.get(command.name, 0))
        motors = self.motors.get(command.name, 1)
        return Throw(command.name, busy, lies, supply, after, motors)


def limits_of(layout: Layout) -> Limits:
    """The limits that a layout states."""
    hardware = layout.hardware
    stated = {name: _limit(supply) for name, supply in hardware.supplies.items()}
    return Limits(
        {decoder: s.name for s in hardware.supplies.values() for decoder in s.feeds},
        {name: limit for name, limit in stated.items() if limit is not None},
        {w.drive: w.rests for w in hardware.wirings.values() if w.rests},
        {w.drive: w.settles for w in hardware.wirings.values() if w.settles},
        {w.drive: w.motors for w in hardware.wirings.values() if w.motors > 1},
    )


def _limit(supply: Supply) -> Limit | None:
    if supply.at_a_time is None and not supply.rest:
        return None
    return Limit(supply.at_a_time or 1, supply.rest or 0)
