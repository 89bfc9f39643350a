"""Work for another process, which has to load no more for it than this."""

from __future__ import annotations

from typing import Any

from bellcrank.emit.work import FailedError


class Rude:
    """Work that does not keep to what is expected of it."""

    def __init__(self, how: str) -> None:
        self.how = how

    def run(self) -> Any:
        if self.how == "prints":
            print("noise")
            return "quiet"
        if self.how == "much":
            return "x" * 2_000
        if self.how == "fails":
            raise FailedError("in its own words")
        if self.how == "goes on":
            while True:
                pass
        if self.how == "fills":
            return ["x" * 10_000_000 for _ in range(1_000)]
        if self.how == "recurses":
            return self.run()
        raise SystemExit(3)
