"""Figures for the curious: reactions, refusals by reason, throws of each drive, trains; in the text
format that Prometheus reads (OpenMetrics is its standard), by its own library."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.exposition import CONTENT_TYPE_LATEST

from bellcrank.live.decisions import Decision
from bellcrank.live.live import Link, Live

_SECONDS = (0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5)

_REASONS = 500
"""Different reasons that are counted one by one."""

CONTENT_TYPE = CONTENT_TYPE_LATEST


def _up(link: Link) -> float:
    return float(link.up)


class Figures:
    """Counts what is decided. To be told of every decision."""

    def __init__(self, live: Live) -> None:
        self._live = live
        self._registry = registry = CollectorRegistry()
        self._heard = Counter(
            "bellcrank_heard", "What came in.", ["kind", "outcome"], registry=registry
        )
        self._refused = Counter(
            "bellcrank_refused", "Requests refused, by reason.", ["reason"], registry=registry
        )
        self._reasons: set[str] = set()
        self._throws = Counter(
            "bellcrank_throws", "Commands to a drive: its wear.", ["drive"], registry=registry
        )
        self._set = Counter("bellcrank_set", "Routes set.", ["route"], registry=registry)
        self._reaction = Histogram(
            "bellcrank_reaction_seconds",
            "From what was heard to what was sent.",
            buckets=_SECONDS,
            registry=registry,
        )
        running = Gauge("bellcrank_running", "1 while the signal box runs.", registry=registry)
        running.set_function(self._running)
        waiting = Gauge("bellcrank_waiting", "What came in and waits.", registry=registry)
        waiting.set_function(lambda: live.waiting)
        links = Gauge("bellcrank_link_up", "1 while a link is there.", ["link"], registry=registry)
        for link in live.links:
            links.labels(link.name).set_function(partial(_up, link))
        live.on_reaction = self._reaction.observe

    def _running(self) -> float:
        engine = self._live.engine
        return float(engine is not None and engine.box.running)

    def follow(self, decisions: Sequence[Decision]) -> None:
        for decision in decisions:
            heard = decision.heard
            self._heard.labels(heard.kind, decision.outcome).inc()
            if decision.outcome == "refused":
                for reason in decision.told:
                    known = reason in self._reasons or len(self._reasons) < _REASONS
                    if known:
                        self._reasons.add(reason)
                    self._refused.labels(reason if known else "others").inc()
            if heard.kind == "request" and decision.outcome == "done":
                self._set.labels(heard.of).inc()
            if heard.kind == "thrown":
                self._throws.labels(heard.of).inc()

    def text(self) -> bytes:
        """All figures."""
        return generate_latest(self._registry)
