"""All trains of the simulated railway, by their numbers."""

from __future__ import annotations

from collections.abc import Iterator

from bellcrank.simulated.train import Train


class Fleet:
    """Trains on the track and outside its edges. A number is given once."""

    def __init__(self) -> None:
        self._trains: dict[int, Train] = {}
        self._named = 0

    def __iter__(self) -> Iterator[Train]:
        return iter(list(self._trains.values()))

    def __contains__(self, train: Train) -> bool:
        return self._trains.get(train.number) is train

    def __getitem__(self, number: int) -> Train:
        return self._trains[number]

    def add(self, length: float, most: float, now: float) -> Train:
        """A new train, which stands. length: metres; most: metres in a second; now: seconds."""
        self._named += 1
        train = Train(self._named, length, most, stood_since=now)
        train.motion.since = now
        self._trains[train.number] = train
        return train

    def remove(self, train: Train) -> None:
        """A train is not there any more, and does nothing that it planned."""
        del self._trains[train.number]
        train.version += 1

    def catch_up(self, now: float) -> list[Train]:
        """All trains, each where it is now."""
        for train in self:
            train.motion.catch_up(now)
        return list(self)
