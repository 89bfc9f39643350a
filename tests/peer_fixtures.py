"""Peers to send to, one for each test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from peers import Broker, SecureBroker, SerialLine, Server


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    peer = Broker(tmp_path)
    yield peer
    peer.close()


@pytest.fixture
def secure_broker(tmp_path: Path) -> Iterator[SecureBroker]:
    peer = SecureBroker(tmp_path)
    yield peer
    peer.close()


@pytest.fixture
def server() -> Iterator[Server]:
    peer = Server()
    yield peer
    peer.close()


@pytest.fixture
def serial_line() -> Iterator[SerialLine]:
    peer = SerialLine()
    yield peer
    peer.close()


@pytest.fixture
def little_patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """A lost peer that stays away is called again only once."""
    monkeypatch.setattr("bellcrank.sending.signals_to_stop.TRIES", 1)
